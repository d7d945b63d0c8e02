// What keys do.

/** Do what a key stands for. @param {import("./page.js").Page} page @param {KeyboardEvent} event */
export function keyPressed(page, event) {
  // Brackets need AltGr on some keyboards.
  const isBracket = event.key === "[" || event.key === "]";
  if (event.metaKey || ((event.ctrlKey || event.altKey) && !isBracket)) return;
  if (event.key === "Tab") page._pointed = false;
  if (isTheirs(page, event)) return;
  if (event.key === "Escape" && page.closePanel()) return;
  const digit = /^[1-9]$/.test(event.key) ? page.choice.rungs[Number(event.key) - 1] : undefined;
  const done = {
    " ": () => page.toggle(),
    ArrowUp: () => page.takeLine(page.choice.lineIndex - 1, false),
    ArrowDown: () => page.takeLine(page.choice.lineIndex + 1, false),
    ArrowLeft: () => (event.shiftKey ? page.otherBar(-1) : page.otherRung(-1)),
    ArrowRight: () => (event.shiftKey ? page.otherBar(1) : page.otherRung(1)),
    b: () => page.stepBack(),
    c: () => page.clean(),
    "[": () => page.bracket("begin"),
    "]": () => page.bracket("end"),
    ",": () => page.otherNote(-1),
    ".": () => page.otherNote(1),
    Escape: () => page.loopWhole(),
  }[event.key.length === 1 ? event.key.toLowerCase() : event.key];
  if (digit) page.takeRung(digit);
  else if (done) done();
  else return;
  page._handled = event.key;
  event.preventDefault();
}

/** Whether a key means something to what has the focus. @param {import("./page.js").Page} page @param {KeyboardEvent} event */
function isTheirs(page, event) {
  const { target, key } = event;
  if (key === "Escape") return false;
  if (target instanceof HTMLSelectElement) return true;
  if (target instanceof HTMLInputElement) {
    const { type } = target;
    if (!["radio", "checkbox", "range", "file"].includes(type)) return true;
    if (key.startsWith("Arrow")) return type === "radio" || type === "range";
    return key === " " && (type === "checkbox" || type === "file" || (type === "radio" && !target.checked));
  }
  // A button that was reached by keys is pressed by them; one that was clicked has had its press.
  return key === " " && target instanceof HTMLButtonElement && target !== page.playButton && !page._pointed;
}
