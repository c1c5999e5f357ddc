/* While masses are typed, their sum beside what it is held against. The service does every sum
   again: this one saves a round trip and decides nothing. Without scripts it is not shown.

   data-running on a form; data-whole-mg what the masses shall add up to, data-limit-mg how far off
   they may be without a word. A mass with data-keeps is no loss, with data-keeps="field" only while
   that tick is set; data-loss-ppm is the most that may be lost. [data-sum] shows a figure,
   [data-when] is seen only while its words hold. */
(() => {
  "use strict";
  const sign = new Intl.NumberFormat(document.documentElement.lang).format(1.5)[1];
  const big = (text) => (text ? BigInt(text) : undefined);
  const size = (mg) => (mg < 0n ? -mg : mg);

  const scaleOf = (form, field) => {
    const named = field.dataset.onScale && form.elements[field.dataset.onScale];
    const select = named?.value ? named : form.elements.scale;
    const { stepMg, capacityMg } = select?.selectedOptions?.[0]?.dataset ?? {};
    return { step: big(stepMg), most: big(capacityMg) };
  };
  const isKept = (form, field) => {
    const tick = field.dataset.keeps;
    return tick === "" || (tick !== undefined && form.elements[tick].checked);
  };
  const figures = (form) => {
    const sums = { total: 0n, kept: 0n };
    let isUnread = false;
    for (const field of form.querySelectorAll("input[data-mass]")) {
      if (field.disabled) continue;
      const mg = massText.read(field.value, scaleOf(form, field));
      if (mg === null) isUnread = true;
      sums.total += mg ?? 0n;
      if (isKept(form, field)) sums.kept += mg ?? 0n;
    }
    const whole = big(form.dataset.wholeMg);
    if (whole === undefined) return { sums, isUnread };
    return { sums: { ...sums, rest: whole - sums.total, lost: whole - sums.kept }, whole, isUnread };
  };
  const holds = (form, { sums, whole, isUnread }) => {
    const limit = big(form.dataset.limitMg);
    const ppm = big(form.dataset.lossPpm);
    const isBegun = sums.total > 0n;
    const isOver = ppm === undefined ? false : sums.lost * 1_000_000n > ppm * whole;
    return {
      unread: isUnread,
      begun: isBegun,
      missing: isBegun && sums.rest > 0n,
      over: isBegun && sums.rest < 0n,
      even: isBegun && sums.rest === 0n,
      far: isBegun && limit !== undefined && size(sums.rest) > limit,
      lossy: isBegun && isOver,
      within: isBegun && ppm !== undefined && !isOver && sums.rest >= 0n,
    };
  };
  /* A share to two decimals, rounded away from the limit's safe side: never a smaller loss. */
  const percent = (part, whole) => {
    const hundredths = (size(part) * 10_000n + whole - 1n) / whole;
    return `${part < 0n ? "\u2212" : ""}${hundredths / 100n}${sign}${String(hundredths % 100n).padStart(2, "0")} %`;
  };
  const show = (form) => {
    const found = figures(form);
    const { sums, whole } = found;
    for (const node of form.querySelectorAll("[data-sum]")) {
      const mg = sums[node.dataset.sum];
      if (mg === undefined) continue;
      const told = "size" in node.dataset ? size(mg) : mg;
      node.textContent = massText.words(told, sign);
      if ("percent" in node.dataset && whole > 0n) node.textContent += ` · ${percent(told, whole)}`;
    }
    const true_ = holds(form, found);
    for (const node of form.querySelectorAll("[data-when]"))
      node.hidden = !node.dataset.when.split(" ").some((name) => true_[name]);
  };

  for (const form of document.querySelectorAll("form[data-running]")) {
    form.querySelectorAll("[data-running-shown]").forEach((node) => (node.hidden = false));
    for (const name of ["input", "change", "sum:again"]) form.addEventListener(name, () => show(form));
    show(form);
  }
  /* A draft that was brought back, or the browser's own way back. */
  window.addEventListener("pageshow", () => document.querySelectorAll("form[data-running]").forEach(show));
})();
