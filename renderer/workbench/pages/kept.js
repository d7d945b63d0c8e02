// What this browser remembers: the language, the view, and what could not be saved.

/** @param {string} name @returns {string|null} */
export function remembered(name) {
  try {
    return localStorage.getItem(`rungwise ${name}`);
  } catch {
    return null;
  }
}

/** @param {string} name @param {string|null} value null to forget */
export function remember(name, value) {
  try {
    if (value === null) localStorage.removeItem(`rungwise ${name}`);
    else localStorage.setItem(`rungwise ${name}`, value);
  } catch {
    // A browser that keeps nothing starts anew each time.
  }
}
