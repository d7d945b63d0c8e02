// What fields and the dock let choose, beside what the server knows.

/** How movements are opened or closed, and the word for it. @type {[string, string][]} */
export const INNERS = [
  ["book", "inner_book"],
  ["even", "inner_even"],
  ["1/2 beat", "inner_half"],
  ["1/3 beat", "inner_third"],
  ["1/4 beat", "inner_quarter"],
];
