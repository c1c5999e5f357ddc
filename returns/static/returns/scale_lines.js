/* What a scale sends down a cable, line by line. Pure: knows no page and no port.

   A line holds one figure, a unit (mg, g, kg) and marks; which marks mean what, the settings say.
   A line that is not fully understood is never taken: `why` names what was not. */
const scaleLines = (() => {
  "use strict";
  const LINE_LENGTH_MAX = 120;
  const UNITS = { mg: "mg", g: "g", G: "g", kg: "kg", Kg: "kg", KG: "kg" };
  const FIGURE = /(?<sign>[+-]?)[ \t]*(?<figure>[0-9]+(?:[.,][0-9]+)?|[.,][0-9]+)[ \t]*(?<unit>[A-Za-z]*)/g;
  const BETWEEN = /[\s,;:=()[\]{}]+/;
  const CONTROL = /[\u0000-\u0008\u000e-\u001f\u007f]/g;

  const marks = (typed) => new Set(typed.toUpperCase().split(BETWEEN).filter(Boolean));

  /* 007.50 is 7.50 and .5 is 0.5: the figure stays what the scale shows. */
  const plain = (figure) => figure.replace(/^0+(?=[0-9])/, "").replace(/^(?=[.,])/, "0");

  /* kind is steady, unsteady, over, aside, negative, zero or unreadable; only steady is a mass. */
  const read = (line, settings) => {
    const text = line.replace(CONTROL, "").trim();
    const found = [...text.matchAll(FIGURE)];
    const words = [...marks(text.replace(FIGURE, " "))];
    const has = (name) => words.some((word) => marks(settings[name]).has(word));
    const said = (kind, why = "") => {
      const [one] = found;
      const unit = UNITS[one?.groups.unit] ?? "";
      const sign = one?.groups.sign === "-" ? "-" : "";
      return { kind, why, text, mass: found.length === 1 && unit ? `${sign}${plain(one.groups.figure)} ${unit}` : "" };
    };
    if (has("over")) return said("over");
    if (has("aside")) return said("aside");
    if (found.length !== 1) return said("unreadable", "figure");
    if (!UNITS[found[0].groups.unit]) return said("unreadable", "unit");
    const known = ["steady", "unsteady", "passed"].map((name) => marks(settings[name]));
    if (!words.every((word) => known.some((set) => set.has(word)))) return said("unreadable", "word");
    if (has("unsteady")) return said("unsteady");
    if (known[0].size && !has("steady")) return said("unreadable", "mark");
    if (!/[1-9]/.test(found[0].groups.figure)) return said("zero");
    return said(found[0].groups.sign === "-" ? "negative" : "steady");
  };

  /* Gives a function that takes chunks as they come and returns the lines completed by each; a
     line may end with CR, LF or both. What is too long to be a line is dropped. */
  const splitter = () => {
    let rest = "";
    return (chunk) => {
      const pieces = (rest + chunk).split(/[\r\n]+/);
      rest = pieces.pop();
      if (rest.length > LINE_LENGTH_MAX) rest = rest.slice(-LINE_LENGTH_MAX - 1);
      return pieces.filter((line) => line.trim() && line.length <= LINE_LENGTH_MAX);
    };
  };

  return { read, splitter };
})();
