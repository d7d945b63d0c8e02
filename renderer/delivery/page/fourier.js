// The inverse Fourier transform, for lengths that are powers of two.

/** @type {Map<number, Float64Array>} */
const cosines = new Map();

/** cos(2 pi k / size) for k below size / 2, and 1/4 turn later the sines. @param {number} size */
function table(size) {
  let found = cosines.get(size);
  if (!found) {
    found = new Float64Array(size);
    const half = size / 2;
    for (let k = 0; k < half; k++) {
      found[2 * k] = Math.cos((2 * Math.PI * k) / size);
      found[2 * k + 1] = Math.sin((2 * Math.PI * k) / size);
    }
    cosines.set(size, found);
  }
  return found;
}

/**
 * Replace a series by what it sums up to: x[n] = sum of X[k] exp(2 pi i k n / size), not divided.
 * @param {Float64Array} re its size a power of two
 * @param {Float64Array} im of the same size
 */
export function inverse(re, im) {
  const size = re.length;
  for (let i = 1, j = 0; i < size; i++) {
    let bit = size >> 1;
    for (; j & bit; bit >>= 1) j ^= bit;
    j ^= bit;
    if (i < j) {
      const a = re[i];
      const b = im[i];
      re[i] = re[j];
      im[i] = im[j];
      re[j] = a;
      im[j] = b;
    }
  }
  const turns = table(size);
  for (let half = 1; half < size; half *= 2) {
    const step = size / half;
    // The longer of the two loops is the inner one, so that memory is read in order.
    if (half < 16) {
      for (let k = 0; k < half; k++) {
        const c = turns[k * step];
        const s = turns[k * step + 1];
        for (let at = k; at < size; at += 2 * half) butterfly(re, im, at, at + half, c, s);
      }
      continue;
    }
    for (let begin = 0; begin < size; begin += 2 * half) {
      for (let k = 0; k < half; k++) {
        const c = turns[k * step];
        const s = turns[k * step + 1];
        butterfly(re, im, begin + k, begin + k + half, c, s);
      }
    }
  }
}

/**
 * @param {Float64Array} re @param {Float64Array} im @param {number} at @param {number} to
 * @param {number} c @param {number} s
 */
function butterfly(re, im, at, to, c, s) {
  const x = re[to];
  const y = im[to];
  const a = x * c - y * s;
  const b = x * s + y * c;
  const p = re[at];
  const q = im[at];
  re[to] = p - a;
  im[to] = q - b;
  re[at] = p + a;
  im[at] = q + b;
}
