// The numbers of `renderer/sound/seeded.py`, bit by bit.

/**
 * Return a number of 32 bits that depends on every bit of `number`.
 * @param {number} number a whole number
 */
export function mixed(number) {
  let x = number >>> 0;
  x = Math.imul(x ^ (x >>> 16), 0x7feb352d) >>> 0;
  x = Math.imul(x ^ (x >>> 15), 0x846ca68b) >>> 0;
  return (x ^ (x >>> 16)) >>> 0;
}

/** Return a number from 0 up to 1 that belongs to `number`. @param {number} number */
export function share(number) {
  return mixed(number) / 2 ** 32;
}

/** Return the `index`th share of a seed. @param {number} seed @param {number} index */
export function turn(seed, index) {
  return share(seed * 65536 + index);
}
