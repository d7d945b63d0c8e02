// Every word that the workbench says, in each of its languages. To add one, add a column.

import { LANGUAGES, noteName, speak, word } from "../../delivery/page/words.js";

export { LANGUAGES, noteName };

/** @type {Record<string, [string, string]>} English, German */
const TABLE = {
  // Everywhere.
  library: ["Library", "Sammlung"],
  close: ["Close", "Schließen"],
  no_answer: [
    "The workbench does not answer. What you type is kept in this browser; start it again with `rungwise open`.",
    "Die Werkbank antwortet nicht. Was du tippst, bewahrt dieser Browser auf; starte sie neu mit `rungwise open`.",
  ],
  other_run: [
    "This address is of another run. Open the one that `rungwise open` has printed.",
    "Diese Adresse gehört zu einem anderen Lauf. Öffne die, die `rungwise open` gedruckt hat.",
  ],
  ended: ["The workbench has ended. You can close this page.", "Die Werkbank ist beendet. Du kannst diese Seite schließen."],
  end: ["End the workbench", "Werkbank beenden"],
  // Library.
  your_folder: ["In {folder}", "In {folder}"],
  empty_folder: [
    "Nothing here yet. Play the exercise above, or begin one of your own.",
    "Noch nichts hier. Spiele die Übung oben, oder beginne eine eigene.",
  ],
  example: ["A finished exercise to play with", "Eine fertige Übung zum Spielen"],
  example_copy: ["Copy it and change it", "Kopieren und ändern"],
  new_exercise: ["New exercise", "Neue Übung"],
  drop: ["Drop a file here, or choose one", "Datei hierher ziehen oder auswählen"],
  drop_what: [
    "Definition, ABC, MusicXML, MIDI, recording: it says what it is.",
    "Definition, ABC, MusicXML, MIDI, Aufnahme: sie sagt, was sie ist.",
  ],
  dropped: ["{name} is here: {kind}.", "{name} ist da: {kind}."],
  search: ["Search", "Suchen"],
  search_what: ["title, movement, level", "Titel, Bewegung, Stufe"],
  sort: ["Order", "Reihenfolge"],
  sort_name: ["by name", "nach Name"],
  sort_changed: ["last changed first", "zuletzt Geändertes zuerst"],
  sort_level: ["by level", "nach Stufe"],
  shipped: ["Exercises that come along", "Mitgelieferte Übungen"],
  copy: ["Copy into the folder", "In den Ordner kopieren"],
  open: ["Open", "Öffnen"],
  lines_count: ["{n} lines", "{n} Zeilen"],
  line_count: ["1 line", "1 Zeile"],
  minutes: ["{m}:{s} min", "{m}:{s} min"],
  changed_when: ["changed {when}", "geändert {when}"],
  none_found: ["Nothing found.", "Nichts gefunden."],
  kind_exercise: ["an exercise", "eine Übung"],
  kind_tune: ["a tune", "ein Stück"],
  kind_pack: ["a pack", "ein Paket"],
  kind_chanter: ["a chanter", "eine Spielpfeife"],
  kind_recording: ["a recording", "eine Aufnahme"],
  kind_unknown: ["unknown", "unbekannt"],
  rename: ["Rename", "Umbenennen"],
  rename_to: ["New name of {name}", "Neuer Name von {name}"],
  duplicate: ["Duplicate", "Verdoppeln"],
  remove: ["Remove", "Entfernen"],
  remove_sure: [
    "Remove {name}? It stays among the earlier versions.",
    "{name} entfernen? Es bleibt unter den früheren Fassungen.",
  ],
  // Writing.
  saved: ["Saved", "Gesichert"],
  saving: ["Saving …", "Wird gesichert …"],
  not_saved: ["Not saved: {why}", "Nicht gesichert: {why}"],
  undo: ["Undo", "Zurück"],
  redo: ["Redo", "Wieder vor"],
  view: ["View", "Ansicht"],
  view_fields: ["Fields", "Felder"],
  view_text: ["Text", "Text"],
  view_both: ["Both", "Beides"],
  text_of: ["Text of {name}", "Text von {name}"],
  only_shown: [
    "This file is shown and played as it is. Fields change definitions only.",
    "Diese Datei wird gezeigt und gespielt, wie sie ist. Felder ändern nur Definitionen.",
  ],
  text_wrong: [
    "The text cannot be read as it stands; the staves are those of before.",
    "Der Text ist so nicht lesbar; die Noten sind die von vorher.",
  ],
  problem_in_row: ["Row {n}", "Reihe {n}"],
  changed_on_disk: [
    "Another program has changed this file. Yours and that one are both kept.",
    "Ein anderes Programm hat diese Datei geändert. Deine und jene Fassung sind beide aufbewahrt.",
  ],
  gone_from_disk: ["This file is gone from the folder.", "Diese Datei ist aus dem Ordner verschwunden."],
  take_theirs: ["Take the one on disk", "Die auf der Platte nehmen"],
  keep_mine: ["Keep mine", "Meine behalten"],
  taken_over: ["Another program has changed this file; it is taken over.", "Ein anderes Programm hat diese Datei geändert; sie ist übernommen."],
  earlier: ["Earlier versions", "Frühere Fassungen"],
  earlier_none: ["None yet.", "Noch keine."],
  restore: ["Take this one", "Diese nehmen"],
  draft_taken: ["What could not be saved last time is back.", "Was zuletzt nicht gesichert werden konnte, ist wieder da."],
  about: ["Title, tempo and what holds for all lines", "Titel, Tempo und was für alle Zeilen gilt"],
  line: ["Line {n}", "Zeile {n}"],
  change_line: ["Change", "Ändern"],
  play_line: ["Play line {n}", "Zeile {n} spielen"],
  add_line: ["Add a line", "Zeile dazu"],
  line_up: ["Move up", "Nach oben"],
  line_down: ["Move down", "Nach unten"],
  line_copy: ["Double", "Verdoppeln"],
  line_remove: ["Take out", "Herausnehmen"],
  stands_for: ["{n} lines from one entry", "{n} Zeilen aus einem Eintrag"],
  fits_to: ["fits up to {n} beats a minute", "passt bis {n} Schläge in der Minute"],
  fits_always: ["fits at every tempo", "passt in jedem Tempo"],
  difficulty: ["difficulty {n}", "Schwierigkeit {n}"],
  in_bar: ["(bar {n})", "(Takt {n})"],
  // Fields.
  title: ["Title", "Titel"],
  for: ["For", "Für"],
  level: ["Level", "Stufe"],
  meter: ["Meter", "Takt"],
  tempo: ["Tempo", "Tempo"],
  length: ["Gracenotes last", "Vorschläge dauern"],
  placement: ["Gracenotes come", "Vorschläge kommen"],
  inner: ["Movements", "Bewegungen"],
  inner_none: ["as the exercise says", "wie die Übung sagt"],
  inner_book: ["closed, as the book says", "geschlossen, nach dem Buch"],
  inner_even: ["opened out evenly", "gleichmäßig geöffnet"],
  inner_half: ["parts of half a beat", "Teile von einem halben Schlag"],
  inner_third: ["parts of a third of a beat", "Teile von einem drittel Schlag"],
  inner_quarter: ["parts of a quarter of a beat", "Teile von einem viertel Schlag"],
  heading: ["Heading", "Überschrift"],
  kind: ["The line is", "Die Zeile ist"],
  kind_run: ["a run of notes", "ein Lauf"],
  kind_runs: ["every run of a kind", "alle Läufe einer Art"],
  kind_scale: ["a scale in steps", "eine Tonleiter in Schritten"],
  kind_against: ["one note against others", "ein Ton gegen andere"],
  kind_each: ["each note in turn", "jeder Ton der Reihe nach"],
  kind_abc: ["written out", "ausgeschrieben"],
  run: ["Notes", "Töne"],
  run_add: ["Add {note}", "{note} dazu"],
  run_back: ["Take the last note away", "Letzten Ton wegnehmen"],
  abc: ["Notes in ABC", "Töne in ABC"],
  each: ["Notes", "Töne"],
  span: ["Interval", "Intervall"],
  direction: ["Direction", "Richtung"],
  rising: ["rising", "steigend"],
  falling: ["falling", "fallend"],
  both: ["both", "beides"],
  turning: ["turning", "wendend"],
  step: ["Step", "Schritt"],
  against_note: ["Note", "Ton"],
  others: ["Against", "Gegen"],
  ornament: ["Movement", "Bewegung"],
  no_ornament: ["none", "keine"],
  walk: ["on each note in turn, pass by pass", "auf jedem Ton der Reihe nach, ein Durchgang je Ton"],
  second: ["second", "Sekunde"],
  third: ["third", "Terz"],
  fourth: ["fourth", "Quarte"],
  fifth: ["fifth", "Quinte"],
  sixth: ["sixth", "Sexte"],
  seventh: ["seventh", "Septime"],
  octave: ["octave", "Oktave"],
  ninth: ["ninth", "None"],
  all_kinds: ["all families", "alle Familien"],
  family: ["Family", "Familie"],
  choose_movement: ["Choose …", "Wählen …"],
  movements: ["Movements", "Bewegungen"],
  use_it: ["Use {name}", "{name} nehmen"],
  add_it: ["Add {name} to the others", "{name} zu den anderen nehmen"],
  on_notes: ["On", "Auf"],
  on_every: ["every note", "jedem Ton"],
  on_first: ["the first", "dem ersten"],
  on_last: ["the last", "dem letzten"],
  on_some: ["these notes", "diesen Tönen"],
  plain_pass: ["with a plain pass before", "mit einem schlichten Durchgang davor"],
  rhythm: ["Rhythm", "Rhythmus"],
  rhythm_even: ["even", "gleichmäßig"],
  "rhythm_dot-cut": ["dot and cut", "lang und kurz"],
  "rhythm_cut-dot": ["cut and dot", "kurz und lang"],
  rhythm_triplets: ["triplets", "Triolen"],
  notes_per_beat: ["Notes to a beat", "Töne je Schlag"],
  among: ["Of these notes", "Aus diesen Tönen"],
  starts: ["Begins on", "Beginnt auf"],
  ends: ["Ends on", "Endet auf"],
  count_of_notes: ["Notes in a run", "Töne im Lauf"],
  run_order: ["In order of", "Geordnet nach"],
  order_pitch: ["pitch", "Tonhöhe"],
  order_difficulty: ["difficulty", "Schwierigkeit"],
  limit: ["At most, lines", "Höchstens, Zeilen"],
  from_note: ["From", "Von"],
  to_note: ["To", "Bis"],
  any: ["any", "jeder"],
  on_the_beat: ["on the beat", "auf dem Schlag"],
  before_the_beat: ["before the beat", "vor dem Schlag"],
  closed: ["{note}, closed", "{note}, geschlossen"],
  opened: ["{note}, opened out", "{note}, geöffnet"],
  spelling: ["Spelled {text}", "Geschrieben {text}"],
  // Playing.
  getting_sound: ["The sound is being made …", "Der Klang entsteht …"],
  counts_in: ["Count in", "Einzählen"],
  plays: ["Line {n}, {tempo} beats a minute", "Zeile {n}, {tempo} Schläge in der Minute"],
  press_staff: ["Press a note to hear it from there; draw across bars to hear them again and again.", "Drücke einen Ton, um von dort zu hören; ziehe über Takte, um sie immer wieder zu hören."],
  keys: ["Keys", "Tasten"],
  keys_list: [
    "Space: play and stop. Up, down: another line. 1 to 9: the chosen line from that bar. Control Z, Control Y: undo, redo. Escape: leave the text, or the bars that are looped. F1: this list.",
    "Leertaste: spielen und anhalten. Auf, ab: andere Zeile. 1 bis 9: die gewählte Zeile von diesem Takt an. Strg Z, Strg Y: zurück, vor. Escape: den Text oder die Takte der Schleife verlassen. F1: diese Liste.",
  ],
};

/** Choose the language. @param {string} language @returns {"en"|"de"} */
export function choose(language) {
  spoken = speak(language);
  return spoken;
}

/** @type {"en"|"de"} */
let spoken = "en";

/**
 * Return a text in the chosen language, its places filled; what the practice page says, as it says it.
 * @param {string} key
 * @param {Record<string, string|number>} places
 */
export function say(key, places = {}) {
  const row = TABLE[key];
  if (!row) return word(key, places);
  return row[spoken === "de" ? 1 : 0].replace(/\{(\w+)\}/g, (_, name) => String(places[name] ?? ""));
}

/** The words of a moment, in seconds since 1970. @param {number} seconds */
export function moment(seconds) {
  return new Date(seconds * 1000).toLocaleString(spoken, { dateStyle: "medium", timeStyle: "short" });
}
