/* Issuing flake: only what was scanned or picked stands in the table above; a scan of a lot picks its
   row. Without scripts the whole list is open, and a mass is typed into any of its rows. */
(() => {
  "use strict";
  const form = document.querySelector("form[data-issue]");
  if (!form) return;
  const scanned = form.elements.scanned;
  const picked = form.querySelector("[data-picked]");
  const list = form.querySelector("[data-list]");
  const rows = [...form.querySelectorAll("[data-lot]")];
  const order = rows.toSorted((one, other) => one.compareDocumentPosition(other) & 4 ? -1 : 1);
  const sign = new Intl.NumberFormat(document.documentElement.lang).format(1.5)[1];
  const folded = (code) => code.toLowerCase().replace(/[-_ ]/g, "").replace(/^lot(?=l)/, "");
  const labels = () => scanned.value.split("\n").filter((line) => line.trim());
  const isRead = (row) => labels().some((line) => folded(line) === folded(row.dataset.lot));
  const mass = (row) => row.querySelector("input[data-mass]");

  const dress = (row) => {
    const isIn = picked.contains(row);
    mass(row).hidden = !isIn;
    row.querySelector("[data-pick]").hidden = isIn;
    row.querySelector("[data-unpick]").hidden = !isIn;
    row.querySelector("[data-unscanned]").hidden = !isIn || isRead(row);
    const scale = form.elements.scale.selectedOptions[0]?.dataset ?? {};
    const big = (text) => (text ? BigInt(text) : undefined);
    const taken = massText.read(mass(row).value, { step: big(scale.stepMg), most: big(scale.capacityMg) });
    const left = row.querySelector("[data-left]");
    const stays = BigInt(row.dataset.heldMg) - (taken ?? 0n);
    left.hidden = !isIn || !taken || stays < 0n;
    left.lastElementChild.textContent = massText.words(stays, sign);
    row.querySelector("[data-short]").hidden = !isIn || stays >= 0n;
  };
  const dressAll = () => {
    rows.forEach(dress);
    const inIt = rows.filter((row) => picked.contains(row));
    form.querySelector("[data-none-picked]").hidden = inIt.length > 0;
    form.querySelector("[data-mixed]").hidden = new Set(inIt.map((row) => row.dataset.plastic)).size < 2;
  };
  const pick = (row) => picked.append(row);
  const onScan = () => {
    rows.filter((row) => !picked.contains(row) && isRead(row)).forEach(pick);
    dressAll();
  };
  const leaveOut = (row) => {
    mass(row).value = "";
    scanned.value = labels().filter((line) => folded(line) !== folded(row.dataset.lot)).join("\n");
    const after = order.slice(order.indexOf(row) + 1).find((one) => list.contains(one));
    list.insertBefore(row, after ?? null);
    dressAll();
    form.dispatchEvent(new Event("sum:again"));
    row.querySelector("[data-pick]").focus();
  };

  form.addEventListener("click", (event) => {
    const row = event.target.closest("[data-lot]");
    if (event.target.closest("[data-unpick]")) leaveOut(row);
    else if (event.target.closest("[data-pick]")) {
      pick(row);
      dressAll();
      mass(row).focus();
    }
  });
  form.addEventListener("input", (event) => (event.target === scanned ? onScan() : dressAll()));
  form.addEventListener("change", dressAll);
  /* A draft that was brought back may have filled in masses and labels. */
  const begin = () => {
    rows.filter((row) => mass(row).value || isRead(row)).forEach(pick);
    form.querySelector("[data-folds]")?.removeAttribute("open");
    dressAll();
  };
  begin();
  window.addEventListener("pageshow", begin);
})();
