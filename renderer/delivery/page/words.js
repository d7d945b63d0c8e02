// Every word that the page says, in each of its languages. To add one, add a column.

/** @typedef {"en"|"de"} Language */

/** @type {Record<string, [string, string]>} English, German */
const TABLE = {
  start: ["Start", "Start"],
  stop: ["Stop", "Halt"],
  line: ["Line {n}", "Zeile {n}"],
  exercise: ["Exercise", "Übung"],
  language: ["Language", "Sprache"],
  music: ["Lines", "Zeilen"],
  controls: ["Playing", "Spielen"],
  practice: ["Practice", "Üben"],
  sound: ["Sound", "Klang"],
  log: ["Log", "Übungsbuch"],
  help: ["Help", "Hilfe"],
  tempo: ["Tempo, beats a minute", "Tempo, Schläge in der Minute"],
  rungs: ["Rungs", "Sprossen"],
  rung: ["{n} beats a minute", "{n} Schläge in der Minute"],
  too_fast: ["This line fits up to {n} beats a minute.", "Diese Zeile passt bis {n} Schläge in der Minute."],
  mode: ["What comes after each round", "Was nach jeder Runde kommt"],
  mode_loop: ["The same again", "Dasselbe noch einmal"],
  mode_once: ["The end", "Schluss"],
  mode_climb: ["Climb: after some rounds the next rung", "Steigen: nach einigen Runden die nächste Sprosse"],
  mode_opening: ["From open to closed", "Vom Offenen zum Geschlossenen"],
  mode_echo: ["Echo: your turn", "Echo: du bist dran"],
  mode_session: ["A day of the plan", "Ein Tag des Plans"],
  rounds: ["Rounds before each change", "Runden vor jedem Wechsel"],
  day: ["Day of the plan", "Tag des Plans"],
  form: ["How it is played", "Wie gespielt wird"],
  form_written: ["As written", "Wie geschrieben"],
  form_opened: ["Opened out evenly", "Gleichmäßig geöffnet"],
  form_parts: ["Parts of {n} ms", "Teile von {n} ms"],
  gracenote_length: ["Gracenotes", "Gracenotes"],
  crossing: ["Crossing noises in every second round", "Zwischentöne in jeder zweiten Runde"],
  form_gracenotes: ["Gracenotes of {n} ms", "Gracenotes von {n} ms"],
  loop_from: ["Loop from bar", "Schleife von Takt"],
  loop_to: ["to bar", "bis Takt"],
  picks: ["Tapping the staff picks", "Tippen auf die Noten wählt"],
  picks_bars: ["bars (draw across for several)", "Takte (darüberziehen für mehrere)"],
  picks_movement: ["a note with its neighbours", "eine Note mit ihren Nachbarn"],
  whole_line: ["Whole line", "Ganze Zeile"],
  looping_bars: ["Bars {a} to {b}", "Takte {a} bis {b}"],
  looping_bar: ["Bar {a}", "Takt {a}"],
  looping_note: ["One movement", "Eine Bewegung"],
  counted_in: ["Count-in", "Einzählen"],
  your_turn: ["Your turn", "Du bist dran"],
  rest: ["Rest your hands: {n} s", "Hände ausruhen: {n} s"],
  round: ["Round {n}", "Runde {n}"],
  pitch: ["Pitch", "Tonhöhe"],
  cents: ["Finer, in cents", "Feiner, in Cent"],
  low_a: ["Low A {n} Hz", "Low A {n} Hz"],
  chanter: ["Chanter", "Spielpfeife"],
  drone: ["Drones", "Bordune"],
  metronome: ["Metronome", "Metronom"],
  subdivide: ["Mark halves or thirds of the beat", "Halbe oder drittel Schläge anzeigen"],
  dropout: ["Leave out a bar of clicks in every second round", "In jeder zweiten Runde einen Takt Klicks weglassen"],
  clean: ["It was clean", "War sauber"],
  advice_bar: ["Bar {n}", "Takt {n}"],
  now_said: ["Now line {line} at {n}", "Jetzt Zeile {line} bei {n}"],
  rest_said: ["Rest your hands", "Hände ausruhen"],
  day_block: ["Line {line} at {n}, {rounds} rounds, {time}", "Zeile {line} bei {n}, {rounds} Runden, {time}"],
  day_rest: ["Rest your hands, {n}", "Hände ausruhen, {n}"],
  day_takes: ["{n} minutes in all", "Zusammen {n} Minuten"],
  day_done: ["That was this day of the plan.", "Das war dieser Tag des Plans."],
  clean_said: ["Line {line} clean at {n}, by your own word.", "Zeile {line} sauber bei {n}, nach deinem Wort."],
  back: ["Step back", "Stufe zurück"],
  log_empty: ["Nothing yet.", "Noch nichts."],
  log_lost: [
    "This browser keeps nothing for this page, so the log ends when it is closed. Save it as a file.",
    "Dieser Browser merkt sich nichts für diese Seite; das Übungsbuch endet mit ihr. Sichere es als Datei.",
  ],
  log_line: ["Line", "Zeile"],
  log_rounds: ["Rounds", "Runden"],
  log_days: ["Days", "Tage"],
  log_fastest: ["Played up to", "Gespielt bis"],
  log_clean: ["Clean up to", "Sauber bis"],
  log_own_word: ["Clean is what you have called clean.", "Sauber ist, was du sauber genannt hast."],
  log_today: ["Rounds today: {rounds}, in {minutes} minutes", "Runden heute: {rounds}, in {minutes} Minuten"],
  log_export: ["Save the log as a file", "Übungsbuch als Datei sichern"],
  log_import: ["Add a saved log", "Gesichertes Übungsbuch dazunehmen"],
  log_added: ["The log was added.", "Das Übungsbuch wurde dazugenommen."],
  log_refused: ["This file is no practice log.", "Diese Datei ist kein Übungsbuch."],
  print: ["Print", "Drucken"],
  advice: ["What to watch", "Worauf zu achten ist"],
  fingering: ["Fingering", "Griff"],
  silent: ["silent", "still"],
  percent: ["{n} %", "{n} %"],
  key_space: ["Space: start and stop", "Leertaste: Start und Halt"],
  key_lines: ["Up, down: another line", "Auf, ab: andere Zeile"],
  key_rungs: ["Left, right, 1 to 9: another rung", "Links, rechts, 1 bis 9: andere Sprosse"],
  key_back: ["B: a step back", "B: eine Stufe zurück"],
  key_clean: ["C: that was clean", "C: das war sauber"],
  key_bars: [
    "Brackets [ and ]: the loop begins or ends with the bar that sounds; Escape: the whole line",
    "Eckige Klammern [ und ]: die Schleife beginnt oder endet mit dem klingenden Takt; Esc: ganze Zeile",
  ],
  key_from_bar: [
    "Shift with left, right: start at the bar before or after",
    "Umschalt mit links, rechts: beim Takt davor oder danach beginnen",
  ],
  key_notes: [
    "Comma, full stop: loop the note before or after, with its neighbours",
    "Komma, Punkt: die Note davor oder danach mit ihren Nachbarn wiederholen",
  ],
  by_keys: ["Keys", "Tasten"],
  by_hand: ["On the staff", "Auf den Noten"],
  by_hand_how: [
    "Tap a bar to start there; draw across bars to loop them. Bars of several staves are chosen under Practice.",
    "Tippe auf einen Takt, um dort zu beginnen; zieh über Takte, um sie zu wiederholen. Takte mehrerer Notenzeilen wählst du unter Üben.",
  ],
  marks: ["Angles over the notes", "Winkel über den Noten"],
  marks_mean: [
    "A crossing noise lurks on the way to the note. Pointing up, the upper (left) hand moves first; pointing down, the lower (right) hand.",
    "Auf dem Weg zu dieser Note droht ein Zwischenton. Zeigt der Winkel nach oben, geht die obere (linke) Hand zuerst; zeigt er nach unten, die untere (rechte).",
  ],
  cautions: ["Look after yourself", "Pass auf dich auf"],
  caution_ears: [
    "Ears: set the level before you blow. A pipe chanter is loud, and headphones can be too; if you must raise your voice over it, turn it down.",
    "Ohren: Lautstärke einstellen, bevor du bläst. Eine Spielpfeife ist laut, Kopfhörer können es auch sein; musst du dagegen anreden, mach leiser.",
  ],
  caution_hands: [
    "Hands and lips: rest them before they hurt, a few minutes after every ten. Slow and even beats fast and tight.",
    "Hände und Lippen: ausruhen, bevor sie schmerzen, einige Minuten nach je zehn. Langsam und gleichmäßig geht vor schnell und verkrampft.",
  ],
  caution_teacher: [
    "What your teacher and your doctor say goes before anything that a page says.",
    "Was dein Lehrer und dein Arzt sagen, geht allem vor, was eine Seite sagt.",
  ],
  stay_awake: [
    "This browser lets the screen go dark here. Set a longer time in the settings of your device.",
    "Dieser Browser lässt den Bildschirm hier dunkel werden. Stelle am Gerät eine längere Zeit ein.",
  ],
  nothing: ["–", "–"],
};

export const LANGUAGES = /** @type {const} */ ({ en: "English", de: "Deutsch" });

/** @type {Language} */
let spoken = "en";

/** Choose the language. @param {string} language */
export function speak(language) {
  spoken = language === "de" ? "de" : "en";
  return spoken;
}

/**
 * Return a text in the chosen language, its places filled.
 * @param {string} key
 * @param {Record<string, string|number>} places
 */
export function word(key, places = {}) {
  const row = TABLE[key];
  if (!row) throw new RangeError(`no word is called ${key}`);
  const text = row[spoken === "de" ? 1 : 0];
  return text.replace(/\{(\w+)\}/g, (_, name) => String(places[name] ?? ""));
}

/** Every key, for tests. */
export function wordKeys() {
  return Object.keys(TABLE);
}

// German pipers use the English names (common practice, from memory): B is B, never H.
const NOTES = {
  en: ["low G", "low A", "B", "C", "D", "E", "F", "high G", "high A"],
  de: ["Low G", "Low A", "B", "C", "D", "E", "F", "High G", "High A"],
};

/** The name of a note, from low G up. @param {number} note */
export function noteName(note) {
  return NOTES[spoken][note] ?? "";
}
