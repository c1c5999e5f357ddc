/* A hand scanner types a code within a blink and presses Enter, wherever the focus is. Here its
   burst of keys is told from a hand's: it never sends the form that has the focus and never stays
   in a field. A scan answers the page's own question where a field asks for one of its kind
   (data-scan), else it opens what it names. */
(() => {
  "use strict";
  /* A pause longer than this begins a new burst; a burst's keys come faster than this on average.
     Common practice, no source: scanners pause 2 to 40 ms from key to key, a fast hand 80 and more. */
  const PAUSE_MS = 100;
  const KEY_MS_MAX = 50;
  const LENGTH_MIN = 5;
  const UNTOUCHED = ["file", "checkbox", "radio", "button", "submit", "reset", "range", "color"];

  /* The check character of our codes, ISO/IEC 7064 MOD N+1,N, as inventory/sums/codes.py draws it. */
  const ALPHABET = "23456789CDFGHJKMNPQRTWXY";
  const KINDS = "QFPBLDGWK";
  const holds = (text) => {
    const n = ALPHABET.length;
    let check = n / 2;
    for (const sign of text) check = ((((check || n) * 2) % (n + 1)) + ALPHABET.indexOf(sign)) % n;
    return check === 1;
  };
  const checked = (text) => {
    const bare = text.toUpperCase().replace(/[\s._\p{Pd}\u2212]/gu, "");
    const body = bare.slice(1).replaceAll("B", "8").replaceAll("S", "5").replaceAll("Z", "2");
    const kind = KINDS.indexOf(bare[0]);
    if (bare.length !== 9 || kind < 0 || [...body].some((sign) => !ALPHABET.includes(sign))) return null;
    if (!holds(ALPHABET[kind] + body)) return null;
    return { code: `${bare[0]}-${body.slice(0, 4)}-${body.slice(4)}`, kind: bare[0] === "L" ? "lot" : bare[0] };
  };
  const readable = (text) => {
    const kind = /^(box|bin|lot|shelf)-\S+$/i.exec(text)?.[1].toLowerCase();
    return kind ? { code: text.toLowerCase(), kind } : null;
  };
  /* Labels carry a link that a phone opens; a scanner that reads it types the whole of it. */
  const linked = (text) => {
    const inner = /\/go\/([^/?#]+)/i.exec(text)?.[1];
    if (!inner) return null;
    let code = inner;
    try {
      code = decodeURIComponent(inner);
    } catch {
      /* A link that is cut short is looked up as it stands. */
    }
    return own(code) ?? { code, kind: "" };
  };
  const own = (text) => checked(text) ?? readable(text) ?? linked(text);

  let burst = null;
  const search = () => document.querySelector("[data-code-search]");
  const isField = (node) => node.matches("input, select, textarea") && !UNTOUCHED.includes(node.type);
  const isWordField = (node) => node.matches("textarea, input") && !/number|date|time|month/.test(node.type) && isField(node);
  const begin = (event) => ({
    text: "",
    from: event.timeStamp,
    until: event.timeStamp,
    target: event.target,
    was: isField(event.target) ? event.target.value : null,
  });
  const onKey = (event) => {
    /* Where a scan is tried out, every key stays what it is. */
    if (!search() || event.isComposing || event.target.dataset?.scanTest !== undefined) return;
    if (event.key === "Enter") {
      const ended = burst;
      burst = null;
      if (ended && isFast(ended, event)) onScan(ended, event);
      else onward(event);
      return;
    }
    if (event.ctrlKey || event.altKey || event.metaKey || event.repeat) burst = null;
    else if (event.key.length === 1) {
      if (!burst || burst.target !== event.target || event.timeStamp - burst.until > PAUSE_MS)
        burst = begin(event);
      burst.text += event.key;
      burst.until = event.timeStamp;
    } else if (event.key !== "Shift" && event.key !== "CapsLock") burst = null;
  };
  /* Of several lines, Enter in a mass goes on to the next line; it sends nothing. */
  const onward = (event) => {
    const line = event.target.matches("input[data-mass]") && lineOf(event.target);
    if (!line) return;
    event.preventDefault();
    line.nextElementSibling?.querySelector("input[data-scan]")?.focus();
  };
  const isFast = ({ text, from, until, target }, enter) =>
    text.length >= LENGTH_MIN &&
    target === enter.target &&
    enter.timeStamp - until <= PAUSE_MS &&
    enter.timeStamp - from <= KEY_MS_MAX * text.length;

  const onScan = (ended, event) => {
    const found = own(ended.text);
    if (!found) return onForeign(ended, event);
    event.preventDefault();
    event.stopImmediatePropagation();
    putBack(ended);
    const asking = asked(ended.target, found.kind, found.code);
    if (asking) answer(asking, found.code, ended.target);
    else open(found.code);
  };
  /* A maker's or carrier's code, or a scale that types: its words may stay where words go, its
     Enter sends and presses nothing. What fills in a password types as fast. */
  const onForeign = (ended, event) => {
    const node = ended.target;
    if (node.tagName === "TEXTAREA" || node.type === "password") return;
    if (node.form?.method === "get" && isWordField(node)) {
      if (node.form === search()) leave();
      return;
    }
    event.preventDefault();
    event.stopImmediatePropagation();
    if (isWordField(node)) return;
    putBack(ended);
    say("foreign");
  };
  const putBack = ({ target, was }) => {
    if (was === null || target.value === was) return;
    target.value = was;
    for (const name of ["input", "change"]) target.dispatchEvent(new Event(name, { bubbles: true }));
  };

  const takes = (field, kind) =>
    field.dataset.scan && (!field.dataset.scanKind || field.dataset.scanKind === kind) && !field.disabled;
  /* The field that has the focus comes first, then its form's, then the page's. */
  const asked = (focused, kind, code) => {
    if (takes(focused, kind) && !lineOf(focused)) return focused;
    const fields = [...document.querySelectorAll("[data-scan=one], [data-scan=lines]")].filter(
      (field) => takes(field, kind) && field.checkVisibility(),
    );
    /* Of several lines: the one that has this code already, else the first without any. */
    const lines = fields.filter(lineOf);
    const free = lines.find((field) => field.value === code) ?? lines.find((field) => !field.value);
    const others = fields.filter((field) => !lineOf(field));
    return free ?? others.find((field) => field.form === focused.form) ?? others[0];
  };
  const lineOf = (node) => node.closest("[data-line]");
  const answer = (field, code, focused) => {
    if (field.dataset.scan === "lines") field.value = withLine(field, code);
    else field.value = code;
    field.removeAttribute("aria-invalid");
    field.dispatchEvent(new Event("input", { bubbles: true }));
    say("taken", code, field);
    /* From a lot's label to the field for its mass. */
    const next = [...(field.form?.querySelectorAll("[data-label]") ?? [])].find((one) => one.dataset.label === code);
    const mass = lineOf(field)?.querySelector("input[data-mass]");
    if (next ?? mass) (next ?? mass).focus();
    else if (!isField(focused)) field.focus();
  };
  /* After a refusal the labels are scanned anew: the wrong one must not stay among them. */
  const withLine = (field, code) => {
    const lines = field.hasAttribute("aria-invalid") ? [] : field.value.split("\n").filter(Boolean);
    return [...lines.filter((line) => line !== code), code].join("\n") + "\n";
  };
  const leave = () => document.dispatchEvent(new CustomEvent("scan:leaves"));
  const open = (code) => {
    leave();
    search().elements.code.value = code;
    search().requestSubmit();
  };
  const say = (what, code = "", field = null) => {
    const note = document.getElementById("scan-said");
    if (!note) return;
    note.textContent = note.dataset[what].replace("{code}", code);
    note.hidden = false;
    if (field) field.after(note);
  };

  /* Before any other script hears the Enter. */
  window.addEventListener("keydown", onKey, { capture: true });
})();
