// Exact fractions: time stays exact until the one place where it becomes frames.

/** @typedef {{n: bigint, d: bigint}} Fraction A fraction in lowest terms; `d` is above 0. */

/**
 * @param {bigint} a
 * @param {bigint} b
 */
function commonDivisor(a, b) {
  if (a < 0n) a = -a;
  while (b) [a, b] = [b, a % b];
  return a;
}

/**
 * Return n/d in lowest terms.
 * @param {bigint} n
 * @param {bigint} d other than 0
 * @returns {Fraction}
 */
export function fraction(n, d = 1n) {
  if (d < 0n) [n, d] = [-n, -d];
  if (d === 1n) return { n, d };
  const divisor = commonDivisor(n, d);
  return divisor === 1n ? { n, d } : { n: n / divisor, d: d / divisor };
}

/**
 * Read `5`, `-7/3` or `66.5`; throws a RangeError for anything else.
 * @param {string} text
 * @returns {Fraction}
 */
export function readFraction(text) {
  const ratio = /^(-?\d+)(?:\/(\d+))?$/.exec(text);
  if (ratio && ratio[1]) return fraction(BigInt(ratio[1]), BigInt(ratio[2] ?? 1));
  const decimal = /^(\d+)\.(\d{1,9})$/.exec(text);
  if (!decimal) throw new RangeError(`no number: ${text}`);
  const places = decimal[2] ?? "";
  return fraction(BigInt((decimal[1] ?? "") + places), 10n ** BigInt(places.length));
}

/** @param {Fraction} a @param {Fraction} b */
export function plus(a, b) {
  if (!a.n) return b;
  if (!b.n) return a;
  return fraction(a.n * b.d + b.n * a.d, a.d * b.d);
}

/** @param {Fraction} a @param {Fraction} b */
export function minus(a, b) {
  return b.n ? fraction(a.n * b.d - b.n * a.d, a.d * b.d) : a;
}

/** @param {Fraction} a @param {Fraction} b */
export function times(a, b) {
  return fraction(a.n * b.n, a.d * b.d);
}

/** @param {Fraction} a @param {Fraction} b other than 0 */
export function over(a, b) {
  return fraction(a.n * b.d, a.d * b.n);
}

/** Return whether a is less than b. @param {Fraction} a @param {Fraction} b */
export function isLess(a, b) {
  return a.n * b.d < b.n * a.d;
}

/** @param {Fraction} a @param {Fraction} b */
export function isSame(a, b) {
  return a.n === b.n && a.d === b.d;
}

/** @param {Fraction} a */
export function asNumber(a) {
  return Number(a.n) / Number(a.d);
}

/** Write as `readFraction` reads it. @param {Fraction} a */
export function asText(a) {
  return a.d === 1n ? `${a.n}` : `${a.n}/${a.d}`;
}

/**
 * Return the frame nearest to so many seconds, a half rounded up.
 * @param {Fraction} seconds
 * @param {number} rate
 */
export function frameAt(seconds, rate) {
  const doubled = 2n * seconds.d;
  const whole = 2n * seconds.n * BigInt(rate) + seconds.d;
  const floor = whole / doubled - (whole % doubled < 0n ? 1n : 0n);
  return Number(floor);
}

export const ZERO = fraction(0n);
export const ONE = fraction(1n);
