/* Photos are made smaller here, before they travel; the form works without this. */
(() => {
  "use strict";
  /* A photo travels no larger than it is kept. What this browser cannot draw goes as it is. */
  const smaller = async (file, side) => {
    const picture = await createImageBitmap(file).catch(() => null);
    if (!picture) return file;
    const scale = Math.min(1, side / Math.max(picture.width, picture.height));
    const canvas = document.createElement("canvas");
    canvas.width = Math.round(picture.width * scale);
    canvas.height = Math.round(picture.height * scale);
    const pen = canvas.getContext("2d");
    pen.fillStyle = "#fff";
    pen.fillRect(0, 0, canvas.width, canvas.height);
    pen.drawImage(picture, 0, 0, canvas.width, canvas.height);
    picture.close();
    const drawn = await new Promise((done) => canvas.toBlob(done, "image/jpeg", 0.85));
    if (!drawn || drawn.size >= file.size) return file;
    return new File([drawn], `${file.name.replace(/\.\w+$/, "")}.jpg`, { type: "image/jpeg" });
  };
  for (const input of document.querySelectorAll("input[data-shrink]")) {
    const send = input.form.querySelector("button.wide-press");
    input.addEventListener("change", async () => {
      const chosen = [...input.files];
      send.disabled = true;
      try {
        const drawn = await Promise.all(chosen.map((file) => smaller(file, Number(input.dataset.shrink))));
        const bag = new DataTransfer();
        drawn.forEach((file) => bag.items.add(file));
        /* Meanwhile somebody may have chosen others. */
        if (chosen.every((file, at) => file === input.files[at]) && chosen.length === input.files.length) input.files = bag.files;
      } finally {
        send.disabled = false;
      }
    });
  }
})();
