/* A typed mass as the service reads it (weighing/sums/masses.py): exact whole milligrams, never a
   guess. Pure: knows no page. */
const massText = (() => {
  "use strict";
  const LENGTH_MAX = 40;
  const MG_MAX = 10n ** 12n;
  /* By how many places the point moves to the right on the way to milligrams. */
  const PLACES = { "": 3, g: 3, G: 3, kg: 6, Kg: 6, KG: 6, mg: 0 };
  const SHAPE = /^([0-9](?:[0-9.,' ]*[0-9])?) *([A-Za-z]*)$/;

  const ungrouped = (number) => {
    if (/^[0-9]+$/.test(number)) return number;
    const [first, ...groups] = number.split(/[.,' ]/);
    const signs = new Set(number.replace(/[0-9]/g, ""));
    const fits = groups.every((group) => /^[0-9]{3}$/.test(group));
    return signs.size === 1 && fits && /^[1-9][0-9]{0,2}$/.test(first) ? first + groups.join("") : null;
  };
  const whole = (digits, decimals, places) => {
    const kept = decimals.slice(0, places).padEnd(places, "0");
    return /[1-9]/.test(decimals.slice(places)) ? null : BigInt(digits + kept);
  };
  const figures = (number, places) => {
    const found = [];
    const plain = ungrouped(number);
    if (plain !== null) found.push(whole(plain, "", places));
    for (const sign of ".,") {
      const [before, after, more] = number.split(sign);
      if (after === undefined || more !== undefined || !/^[0-9]+$/.test(after)) continue;
      const digits = ungrouped(before);
      if (digits !== null) found.push(whole(digits, after, places));
    }
    return found.filter((mg) => mg !== null);
  };

  /* The milligrams as a BigInt; 0n for nothing, null for what this scale cannot have shown or
     what can be read in two ways. */
  const read = (typed, { step = 1n, most = MG_MAX } = {}) => {
    const text = typed.replace(/[\u00a0\u2009\u202f]/g, " ").replace(/\u2019/g, "'").trim();
    if (!text.toLowerCase().replace(/(mg|kg)$/, "").replace(/[0., g]/g, "")) return 0n;
    const [, number, unit] = SHAPE.exec(text) ?? [];
    if (typed.length > LENGTH_MAX || number === undefined || !(unit in PLACES)) return null;
    const fits = (mg) => mg > 0n && mg <= most && mg <= MG_MAX && mg % step === 0n;
    const readings = [...new Set(figures(number, PLACES[unit]).filter(fits))];
    return readings.length === 1 ? readings[0] : null;
  };

  /* In grams, at least two decimals, as the pages write a mass. */
  const words = (mg, sign) => {
    const digits = String(mg < 0n ? -mg : mg).padStart(4, "0");
    const decimals = digits.slice(-3).replace(/0$/, "");
    return `${mg < 0n ? "\u2212" : ""}${digits.slice(0, -3)}${sign}${decimals} g`;
  };

  return { read, words };
})();
