/* While a recipe card is weighed, the share reached of each colour beside the share wanted. The
   service works it out again and decides; without scripts it is shown once the card is sent.

   data-shares on the form's table of shares; a mass with data-colour counts for the row
   data-share of that colour, whose data-wanted and data-tolerance are parts per million. */
(() => {
  "use strict";
  const table = document.querySelector("[data-shares]");
  const form = table && document.getElementById(table.dataset.shares);
  if (!form) return;
  const sign = new Intl.NumberFormat(document.documentElement.lang).format(1.5)[1];
  const million = 1_000_000n;
  /* Hundredths of a percent, rounded half up as the service shows them. */
  const percent = (part, whole) => {
    const hundredths = (part * 20_000n + whole) / (2n * whole);
    return `${hundredths / 100n}${sign}${String(hundredths % 100n).padStart(2, "0")} %`;
  };
  const show = () => {
    const { stepMg, capacityMg } = form.elements.scale?.selectedOptions?.[0]?.dataset ?? {};
    const scale = { step: stepMg && BigInt(stepMg), most: capacityMg && BigInt(capacityMg) };
    const by = new Map();
    let whole = 0n;
    for (const field of form.querySelectorAll("input[data-colour]")) {
      const mg = massText.read(field.value, scale) ?? 0n;
      by.set(field.dataset.colour, (by.get(field.dataset.colour) ?? 0n) + mg);
      whole += mg;
    }
    for (const row of table.querySelectorAll("[data-share]")) {
      const mg = by.get(row.dataset.share) ?? 0n;
      const off = mg * million - BigInt(row.dataset.wanted) * whole;
      const isMissed = (off < 0n ? -off : off) > BigInt(row.dataset.tolerance) * whole;
      const isKnown = whole > 0n;
      row.querySelector("[data-reached]").textContent = isKnown ? percent(mg, whole) : "–";
      row.querySelector("[data-weighed]").textContent = isKnown ? massText.words(mg, sign) : "–";
      row.querySelector("[data-kept]").hidden = !isKnown || isMissed;
      row.querySelector("[data-missed]").hidden = !isKnown || !isMissed;
    }
  };
  form.addEventListener("input", show);
  /* A scale on the cable, or a draft that was brought back. */
  form.addEventListener("change", show);
  window.addEventListener("pageshow", show);
  show();
})();
