/* The filing forms, which work without this: the drawing takes the chosen colour and says in words
   which it is; the trail says which parts are filled in. It reads the fields, so it is right again
   after a reload. */
(() => {
  "use strict";
  const form = document.querySelector("form[data-trail]");
  if (!form) return;
  const touched = new Set();

  /* Each frame of several by itself: its colour tints its own drawing. */
  const frames = [...form.querySelectorAll("[data-frame]")];
  if (!frames.length) frames.push(form);
  const tint = () => frames.forEach((frame) => {
    const chosen = frame.querySelector(".swatches input:checked")?.closest("label");
    const spot = chosen?.querySelector("circle");
    for (const words of frame.querySelectorAll("[data-drawn-as]"))
      words.textContent = chosen?.textContent.trim() ?? "";
    const lent = { "--tint": spot?.getAttribute("fill"), "--tint-arms": chosen?.dataset.arms };
    for (const drawing of frame.querySelectorAll("[data-tinted]"))
      for (const [name, hue] of Object.entries(lent))
        if (hue) drawing.style.setProperty(name, hue);
        else drawing.style.removeProperty(name);
  });

  const settled = (field) => field.validity.valid && (touched.has(field.name) || field.ariaInvalid !== "true");
  const trail = () => {
    let done = 0;
    const links = [...form.querySelectorAll(".trail a")];
    for (const link of links) {
      const part = document.getElementById(link.hash.slice(1));
      const filled = [...part.querySelectorAll("input, select, textarea")].every(settled);
      link.classList.toggle("trail-done", filled);
      link.querySelector("[data-filled]").hidden = !filled;
      if (filled) done += 1;
    }
    const meter = form.querySelector(".trail progress");
    meter.value = done;
    meter.hidden = false;
  };

  const here = (part) => {
    for (const link of form.querySelectorAll(".trail a"))
      if (link.hash === `#${part.id}`) link.setAttribute("aria-current", "step");
      else link.removeAttribute("aria-current");
  };
  /* The part that crosses a line in the upper third of the window. */
  const watcher = new IntersectionObserver(
    (seen) => seen.filter((one) => one.isIntersecting).forEach((one) => here(one.target)),
    { rootMargin: "-30% 0px -69% 0px" },
  );

  /* Who cannot tell the model need not choose one. */
  for (const frame of frames) {
    const unknown = frame.querySelector("input[name$=unknown]");
    const models = [...frame.querySelectorAll("input[name$=colourway]")];
    unknown?.addEventListener("change", () => {
      if (unknown.checked) for (const model of models) model.checked = false;
    });
    frame.addEventListener("change", (event) => {
      if (unknown && models.includes(event.target)) unknown.checked = false;
      if (unknown) for (const model of models) model.required = !unknown.checked;
    });
  }
  form.addEventListener("change", () => renew());

  const renew = () => {
    tint();
    trail();
  };
  form.addEventListener("input", (event) => {
    touched.add(event.target.name);
    renew();
  });
  window.addEventListener("pageshow", renew);
  form.querySelectorAll(".form-part[id]").forEach((part) => watcher.observe(part));
  renew();
})();
