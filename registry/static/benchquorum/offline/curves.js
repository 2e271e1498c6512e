// Numbers that a check looks up or works out: curves, and what the slips of a reader's hands are worth.

// ln Γ(x), x > 0: Stirling's series, moved to where it is exact (Abramowitz & Stegun 6.1.41).
function lnGamma(x) {
  let shift = 0;
  while (x < 12) { shift -= Math.log(x); x += 1; }
  const r = 1 / (x * x);
  return shift + (x - 0.5) * Math.log(x) - x + 0.9189385332046727 +
    (1 / 12 - r * (1 / 360 - r * (1 / 1260 - r * (1 / 1680 - r / 1188)))) / x;
}
export const lnBeta = (a, b) => lnGamma(a) + lnGamma(b) - lnGamma(a + b);

export function logSum(values) {
  const most = Math.max(...values);
  return most === -Infinity ? most : most + Math.log(values.reduce((sum, one) => sum + Math.exp(one - most), 0));
}

// A curve's value: [starts, a, b, c], pieces of parabolas.
export function curveAt([starts, a, b, c], x) {
  let low = 0, high = starts.length - 1;
  while (low < high) {
    const middle = (low + high + 1) >> 1;
    if (starts[middle] <= x) low = middle; else high = middle - 1;
  }
  const t = x - starts[low];
  return a[low] + t * (b[low] + t * c[low]);
}

export class Hands {
  constructor(classes) {
    this.classes = classes;
    const mean = (a) => classes.reduce((sum, one) => sum + (Math.exp(one[0]) * one[a]) / (one[a] + one[a + 1]), 0);
    this.miss = mean(1);
    this.invent = mean(3);
    this.base = classes.map((one) => lnBeta(one[1], one[2]) + lnBeta(one[3], one[4]));
  }

  // Log of the chance of these counts of slips, the rates integrated, over the same at the mean rates.
  gain(missed, shown, invented, held) {
    const each = this.classes.map((one, at) => one[0] - this.base[at] +
      lnBeta(one[1] + missed, one[2] + shown) + lnBeta(one[3] + invented, one[4] + held));
    return logSum(each) - missed * Math.log(this.miss) - shown * Math.log1p(-this.miss) -
      invented * Math.log(this.invent) - held * Math.log1p(-this.invent);
  }
}

// What the tables don't cover.
export class NeedsNetwork extends Error {}
