/* A scale on a cable fills in the mass that is asked for. The typed field stays the truth: the
   server checks it as if a hand had typed it. Port and settings are remembered by this browser. */
(() => {
  "use strict";
  const KEPT_AS = "scale-cable";
  const OPEN_TRIES = 4;
  const OPEN_AGAIN_MS = 400;
  const STALE_MS = 3000;
  const ALONE_MS = 400;
  const LINES_OPTION = { "8-none": [8, "none"], "7-even": [7, "even"], "7-odd": [7, "odd"], "8-even": [8, "even"] };
  const panel = document.querySelector("[data-scale-cable]");
  const isSeen = (node) => node.offsetParent !== null;
  const fields = () => [...document.querySelectorAll("input[data-mass]")].filter(isSeen);
  if (!panel || !document.querySelector("input[data-mass]")) return;

  const part = (name) => panel.querySelector(`[data-cable="${name}"]`);
  const word = (name, figures = {}) =>
    Object.entries(figures).reduce((text, [key, told]) => text.replace(`{${key}}`, told), panel.dataset[name] ?? "");
  const say = (text) => {
    part("said").textContent = text;
  };

  panel.hidden = false;
  if (!navigator.serial) {
    part(window.isSecureContext ? "help" : "insecure").hidden = false;
    return;
  }
  part("able").hidden = false;
  part("setup").hidden = false;

  /* The settings, by their inputs' data-setting. */
  const inputs = [...panel.querySelectorAll("[data-setting]")];
  const settings = () => Object.fromEntries(inputs.map((input) => [input.dataset.setting, input.value]));
  const remembered = () => {
    try {
      return JSON.parse(localStorage.getItem(KEPT_AS)) ?? {};
    } catch {
      return {};
    }
  };
  const remember = (more = {}) => {
    try {
      localStorage.setItem(KEPT_AS, JSON.stringify({ ...remembered(), ...settings(), ...more }));
    } catch {
      /* Without storage the settings hold for this page. */
    }
  };
  const offerScales = () => {
    const there = document.querySelector("select[name=scale]");
    for (const option of there?.options ?? []) {
      if (option.value) part("which").add(new Option(option.text, option.value));
    }
  };
  const recall = () => {
    const kept = remembered();
    for (const input of inputs) {
      const told = kept[input.dataset.setting];
      if (typeof told !== "string") continue;
      if (input.tagName !== "SELECT" || [...input.options].some((one) => one.value === told)) input.value = told;
    }
  };

  /* Where a reading goes: the mass field last used, else the first empty one. */
  let aimed = null;
  const aim = () => {
    const there = fields();
    return there.includes(aimed) ? aimed : (there.find((field) => !field.value) ?? there[0]);
  };
  const isFilled = (node) => (node.type === "checkbox" ? node.checked : node.value !== "");
  const onward = (field) => {
    /* Of several lines: the next scan finds its own, so the hand stays where it is. */
    if (field.closest("[data-line]")) return field;
    const there = fields();
    const next = there[there.indexOf(field) + 1];
    if (next?.form === field.form && next && !next.value) return next;
    const asked = [...field.form.querySelectorAll("[data-next]")].find((node) => isSeen(node) && !isFilled(node));
    return asked ?? field.form.querySelector("button[type=submit]:not([data-enter])");
  };
  const labelOf = (field) => field.labels[0]?.firstChild?.textContent.trim() ?? "";
  const setScale = (form) => {
    const select = form.querySelector("select[name=scale]");
    const which = part("which").value;
    if (!select || !which || select.value === which) return "";
    if (!select.value) {
      select.value = which;
      return "";
    }
    return word("otherScale");
  };

  let latest = null;
  let latestAt = -Infinity;
  const isFresh = () => performance.now() - latestAt < STALE_MS;
  const show = () => {
    const kind = latest === null ? "silent" : isFresh() ? latest.kind : "stale";
    part("reading").textContent = latest?.mass || latest?.text || "–";
    part("state").textContent = kind === "unreadable" ? word(`why_${latest.why}`) : word(kind);
    part("state").dataset.kind = kind;
    part("take").setAttribute("aria-disabled", String(kind !== "steady"));
  };
  const take = () => {
    const field = aim();
    if (latest?.kind !== "steady" || !isFresh() || !field) {
      say(word("notTaken"));
      return;
    }
    field.value = latest.mass;
    field.dispatchEvent(new Event("input", { bubbles: true }));
    const said = [word("taken", { mass: latest.mass, field: labelOf(field) }), setScale(field.form)];
    say(said.filter(Boolean).join(" "));
    onward(field)?.focus();
    aimed = null;
  };

  /* A scale that sends when its own key is pressed sends one line at a time; a stream of lines is
     never taken by itself. */
  let alone = 0;
  const onLine = (line) => {
    latest = scaleLines.read(line, settings());
    latestAt = performance.now();
    show();
    const inStream = alone !== 0;
    clearTimeout(alone);
    alone = setTimeout(() => {
      alone = 0;
      if (!inStream && part("when").value === "line" && latest.kind === "steady") take();
    }, ALONE_MS);
  };

  let open = null;
  const connected = (isOn) => {
    part("connect").hidden = isOn;
    part("live").hidden = !isOn;
  };
  const listen = async (port) => {
    let stream = null;
    while (port.readable && port.readable !== stream && open?.port === port) {
      stream = port.readable;
      const split = scaleLines.splitter();
      const decoder = new TextDecoder("latin1");
      const reader = stream.getReader();
      open.reader = reader;
      try {
        for (;;) {
          const { value, done } = await reader.read();
          if (done) break;
          split(decoder.decode(value)).forEach(onLine);
        }
      } catch {
        say(word("garbled"));
      } finally {
        reader.releaseLock();
      }
    }
    if (open?.port !== port) return;
    open = null;
    connected(false);
    say(word("gone"));
    await port.close().catch(() => {});
  };
  const wait = (ms) => new Promise((done) => setTimeout(done, ms));
  const start = async (port) => {
    const [dataBits, parity] = LINES_OPTION[part("frame").value] ?? [8, "none"];
    const baudRate = Number(part("baud").value);
    for (let tries = 1; ; tries += 1) {
      try {
        await port.open({ baudRate, dataBits, parity, stopBits: 1 });
        break;
      } catch {
        /* The page before this one may still be letting go of it. */
        if (tries === OPEN_TRIES) {
          say(word("busy"));
          return;
        }
        await wait(OPEN_AGAIN_MS);
      }
    }
    open = { port, reader: null };
    latest = null;
    connected(true);
    show();
    listen(port);
  };
  const stop = async () => {
    const was = open;
    open = null;
    connected(false);
    await was?.reader?.cancel().catch(() => {});
    await was?.port.close().catch(() => {});
    return was?.port;
  };
  const same = (port) => {
    const { usbVendorId, usbProductId } = port.getInfo();
    const kept = remembered();
    return kept.usbVendorId === usbVendorId && kept.usbProductId === usbProductId;
  };
  const choose = async () => {
    let port;
    try {
      port = await navigator.serial.requestPort();
    } catch {
      say(word("noneChosen"));
      return;
    }
    remember({ ...port.getInfo(), on: true });
    say("");
    await start(port);
    fields()[0]?.focus();
  };
  const startKnown = async () => {
    if (!remembered().on) return;
    const ports = await navigator.serial.getPorts();
    const port = ports.find(same) ?? ports[0];
    if (port) await start(port);
  };

  offerScales();
  recall();
  connected(false);
  show();
  setInterval(show, 1000);
  part("connect").addEventListener("click", choose);
  part("take").addEventListener("click", take);
  part("stop").addEventListener("click", async () => {
    remember({ on: false });
    await stop();
    say(word("stopped"));
  });
  panel.addEventListener("change", async (event) => {
    remember();
    if (!("reopen" in event.target.dataset)) return;
    const port = await stop();
    if (port) await start(port);
  });
  document.addEventListener("focusin", (event) => {
    if (event.target.matches?.("input[data-mass]")) aimed = event.target;
  });
  /* No mass begins with a space, so in an empty field the space bar is free to take one. */
  document.addEventListener("keydown", (event) => {
    if (event.key !== " " || !open || !event.target.matches?.("input[data-mass]") || event.target.value) return;
    event.preventDefault();
    take();
  });
  window.addEventListener("pagehide", stop);
  startKnown();
})();
