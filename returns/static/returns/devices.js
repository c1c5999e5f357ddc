/* The test scan: how fast the keys came and with which one it ended. Without scripts the field is
   sent by its button, and neither is known. */
(() => {
  "use strict";
  const field = document.querySelector("[data-scan-test]");
  if (!field) return;
  const form = field.form;
  /* As in scan.js: a longer pause ends a burst. */
  const PAUSE_MS = 100;
  const LENGTH_MIN = 5;
  let times = [];
  let ending = 0;

  const show = async (end) => {
    clearTimeout(ending);
    const asked = new URLSearchParams({ arrived: field.value, end });
    if (times.length > 1) {
      const mean = (times.at(-1) - times[0]) / (times.length - 1);
      asked.set("key_ms", String(Math.max(0, Math.round(mean))));
    }
    times = [];
    const answer = await fetch(`${form.action}?${asked}`, { headers: { Accept: "text/html" } }).catch(() => null);
    if (!answer?.ok) return;
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    document.getElementById("scan-result").replaceChildren(...page.getElementById("scan-result").childNodes);
    /* Whoever works on elsewhere by now is not called back. */
    if (document.activeElement === field) field.select();
  };
  field.addEventListener("keydown", (event) => {
    const isBurst = times.length >= LENGTH_MIN && event.timeStamp - times.at(-1) <= PAUSE_MS;
    if (event.key === "Enter" || (event.key === "Tab" && isBurst)) {
      event.preventDefault();
      show(event.key.toLowerCase());
      return;
    }
    if (event.key.length !== 1 || event.ctrlKey || event.altKey || event.metaKey) return;
    /* A new scan takes the place of the one before. */
    if (!times.length || event.timeStamp - times.at(-1) > 10 * PAUSE_MS) {
      times = [];
      field.value = "";
    }
    times.push(event.timeStamp);
    clearTimeout(ending);
    const mean = (times.at(-1) - times[0]) / times.length;
    if (times.length >= LENGTH_MIN && mean < PAUSE_MS / 2) ending = setTimeout(() => show("none"), 5 * PAUSE_MS);
  });
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    show("");
  });
})();
