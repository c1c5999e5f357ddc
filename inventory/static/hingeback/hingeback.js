/* Small comforts on pages that work without any of this. Read in the head, before anything can be
   typed, so that the first key, word and send are heard however slow the line is. */
(() => {
  "use strict";
  const DRAFT = "draft:";
  const byId = (id) => document.getElementById(id);
  const search = () => document.querySelector("[data-code-search]");

  /* The key F2 leads to the code search from anywhere. */
  const onKey = (event) => {
    /* A key still held down from the page before must not press what stands here. */
    if (event.key === "Enter" && event.repeat && event.target.tagName !== "TEXTAREA") {
      event.preventDefault();
      return;
    }
    if (event.key !== "F2" || !search() || event.ctrlKey || event.altKey || event.metaKey) return;
    event.preventDefault();
    search().elements.code.select();
    search().elements.code.focus();
  };

  /* data-confirm="question" on a button or form asks before it sends. */
  const onSubmit = (event) => {
    /* The button that Enter finds in a staff form: it sends nothing. */
    if (event.submitter?.dataset.enter) {
      event.preventDefault();
      return;
    }
    if (isLost) {
      event.preventDefault();
      sendOnceAnswered(event.target, event.submitter);
      return;
    }
    const question = event.submitter?.dataset.confirm ?? event.target.dataset.confirm;
    if (question && !window.confirm(question)) {
      event.preventDefault();
      return;
    }
    changed.delete(event.target);
    /* Whoever sits down here next must not find another person's words. */
    if ("dropDrafts" in event.target.dataset) {
      draftNames().forEach((name) => store(name, null));
      setLeft({});
    }
    if (event.target.dataset.keep) markSent(event.target);
    else if (keepName(event.target)) store(keepName(event.target), null);
  };

  /* data-guard on a form: leaving with unsent changes asks first. */
  const changed = new Set();
  const onInput = (event) => {
    const form = event.target.form;
    if (!form) return;
    typed.add(event.target);
    const section = event.target.closest("details[data-unfold]");
    if (section) tally(section);
    if ("guard" in form.dataset) changed.add(form);
    if (form.dataset.keep) keep(form);
    if (form.getAttribute("method") === "post") probeWhileTyping();
  };
  const onLeave = (event) => {
    if (changed.size) event.preventDefault();
  };

  /* data-keep="name" on a form: what was typed outlives a reload or a lost connection, in this
     tab only. It is dropped once it was sent and a redirect came back: the page that a broken
     connection leaves behind, or any page opened next, is no answer. */
  const typed = new Set();
  const kept = (form) =>
    [...form.elements].filter(
      (field) =>
        field.name &&
        !["hidden", "password", "file", "submit", "button", "fieldset"].includes(field.type) &&
        /* A label that was scanned proves what is in the hand now: it never comes back by itself. In
           a list of lines it comes back with its mass, to be read over. */
        (!["one", "lines"].includes(field.dataset.scan) || field.closest("[data-line]")) &&
        /* So does a tick about the thing in the hand: the next thing is another. */
        !("fresh" in field.dataset),
    );
  /* The name of a form's draft: its own, or for the staff's other forms where it goes to. */
  const keepName = (form) => {
    if (form.dataset.keep) return form.dataset.keep;
    /* What a customer says at the counter must not come back before the next one. */
    if ("unkept" in form.dataset) return "";
    const isStaffs = search() && form.getAttribute("method") === "post" && kept(form).length;
    if (!isStaffs || form.querySelector("[type=password]")) return "";
    const action = new URL(form.getAttribute("action") ?? "", location.href).pathname;
    const alike = [...document.forms].filter((one) => one.getAttribute("action") === form.getAttribute("action"));
    return `form:${action}:${alike.indexOf(form)}`;
  };
  const state = (field) =>
    ["checkbox", "radio"].includes(field.type) ? field.checked : field.value;
  const store = (name, draft) => {
    try {
      if (draft === null) sessionStorage.removeItem(DRAFT + name);
      else sessionStorage.setItem(DRAFT + name, JSON.stringify(draft));
    } catch {
      /* Storage may be switched off; the form works without a draft. */
    }
  };
  const load = (name) => {
    try {
      return JSON.parse(sessionStorage.getItem(DRAFT + name));
    } catch {
      return null;
    }
  };
  const slot = (field) => `${field.name}|${field.type === "radio" || field.type === "checkbox" ? field.value : ""}`;
  const keep = (form, sent = false) =>
    store(keepName(form), {
      sent,
      key: form.elements.key?.value,
      fields: Object.fromEntries(kept(form).map((field) => [slot(field), state(field)])),
    });
  const markSent = (form) => keep(form, true);
  const bringBack = (form) => {
    const draft = load(keepName(form));
    /* The server's answer to a refused form holds the newest text already. */
    if (!draft || form.querySelector("[aria-invalid]") || document.querySelector(".error-summary")) return;
    if (draft.sent && draft.key && "once" in form.dataset) form.elements.key.value = draft.key;
    let restored = false;
    for (const field of kept(form)) {
      const was = draft.fields[slot(field)];
      if (was === undefined || was === state(field) || typed.has(field)) continue;
      if (typeof was === "boolean") field.checked = was;
      else field.value = was;
      restored = true;
    }
    const told = byId("draft-back");
    if (restored && told) {
      form.before(told);
      told.hidden = false;
    }
  };
  const dropSentDrafts = () => {
    if (!performance.getEntriesByType("navigation")[0]?.redirectCount) return;
    if ("holdDrafts" in document.body.dataset || document.querySelector(".error-summary")) return;
    for (const name of draftNames()) if (load(name)?.sent) store(name, null);
  };

  /* A scan leads away from a form that is half filled: its words are kept, and where they wait is
     said on the pages that follow until somebody goes back. */
  const LEFT = "left";
  const unset = (field) => {
    if (["checkbox", "radio"].includes(field.type)) return field.defaultChecked;
    if (field.tagName !== "SELECT") return field.defaultValue;
    return (field.querySelector("option[selected]") ?? field.querySelector("option"))?.value;
  };
  const isBegun = (form) => kept(form).some((field) => state(field) !== unset(field));
  const left = () => {
    try {
      return JSON.parse(sessionStorage.getItem(LEFT)) ?? {};
    } catch {
      return {};
    }
  };
  const setLeft = (pages) => {
    try {
      sessionStorage.setItem(LEFT, JSON.stringify(pages));
    } catch {
      /* Without storage there is no draft to go back to either. */
    }
  };
  const here = () => location.pathname + location.search;
  const onScanLeaves = () => {
    changed.clear();
    const begun = [...document.forms].filter((form) => keepName(form) && isBegun(form));
    begun.forEach((form) => keep(form));
    const title = document.querySelector("h1")?.textContent.trim();
    if (begun.length) setLeft({ ...left(), [here()]: title });
  };
  const sayWhatIsLeft = () => {
    const { [here()]: _thisOne, ...others } = left();
    setLeft(others);
    const note = byId("draft-left");
    if (!note || !Object.keys(others).length) return;
    for (const [address, title] of Object.entries(others)) {
      const link = document.createElement("a");
      link.href = address;
      link.textContent = title;
      note.append(" ", link);
    }
    note.hidden = false;
  };
  const draftNames = () => {
    try {
      return Object.keys(sessionStorage)
        .filter((key) => key.startsWith(DRAFT))
        .map((key) => key.slice(DRAFT.length));
    } catch {
      return [];
    }
  };

  /* data-once on a form: going back to it in the history, or sending it again when no answer came,
     sends the action's own key again, so that it is repeated and not doubled. Only for forms whose
     server side hands out a new key when the old one is used up for something else. */
  const keepKey = (form) => {
    const key = form.elements.key;
    if (history.state?.key) key.value = history.state.key;
    else history.replaceState({ ...history.state, key: key.value }, "");
  };

  /* Whether the service answers, whatever the browser thinks of the network: a workshop's own
     machine needs none. Asked when there is a doubt, and then again and again, ever more seldom. */
  const PROBE_TIMEOUT_MS = 4000;
  const PROBE_AGAIN_MS = [2000, 30_000];
  const PROBE_TYPING_MS = 10_000;
  const note = () => byId("offline");
  let isLost = false;
  let probedAt = -Infinity;
  let nextProbe = 0;
  let pause = PROBE_AGAIN_MS[0];
  const answers = async () => {
    try {
      const signal = AbortSignal.timeout(PROBE_TIMEOUT_MS);
      return (await fetch(note().dataset.probe, { cache: "no-store", signal })).ok;
    } catch {
      return false;
    }
  };
  const probe = async () => {
    if (!note()?.dataset.probe) return;
    clearTimeout(nextProbe);
    probedAt = performance.now();
    isLost = !(await answers());
    note().hidden = !isLost;
    if (isLost) nextProbe = setTimeout(probe, pause);
    pause = isLost ? Math.min(2 * pause, PROBE_AGAIN_MS[1]) : PROBE_AGAIN_MS[0];
  };
  const probeWhileTyping = () => {
    if (performance.now() - probedAt > PROBE_TYPING_MS) probe();
  };
  /* While nobody answers, a form is held back: the browser's error page would take its place. */
  const sendOnceAnswered = async (form, submitter) => {
    await probe();
    if (!isLost) form.requestSubmit(submitter);
    else note().focus();
  };

  /* A table that scrolls sideways must be reachable by keyboard. */
  const openTables = () => {
    for (const box of document.querySelectorAll(".table-scroll")) {
      if (box.scrollWidth <= box.clientWidth || box.hasAttribute("tabindex")) continue;
      box.tabIndex = 0;
      box.setAttribute("role", "region");
      const caption = box.querySelector("caption");
      if (caption) box.setAttribute("aria-label", caption.textContent.trim());
      else box.setAttribute("aria-labelledby", headingId());
    }
  };
  const headingId = () => {
    const heading = document.querySelector("h1");
    if (!heading.id) heading.id = "page-heading";
    return heading.id;
  };

  /* A link to a form or a field inside a closed section opens the section. */
  const FIELDS = "input:not([type=hidden]), select, textarea";
  const unfold = () => {
    const wanted = location.hash.length > 1 && byId(decodeURIComponent(location.hash.slice(1)));
    const section = wanted && wanted.closest("details");
    if (!section) return;
    section.open = true;
    (wanted.matches(FIELDS) ? wanted : section.querySelector(FIELDS))?.focus();
  };
  /* data-unfold on a section: ticks that a draft or the way back brought into it are shown. */
  const FILLED = "input:checked, input[placeholder]:not(:placeholder-shown)";
  const unfoldFilled = () => {
    for (const section of document.querySelectorAll("details[data-unfold]"))
      if (tally(section)) section.open = true;
  };
  /* data-tally in its summary: the words for each number, of which one is said. Counted is each
     data-counted with anything ticked or typed in it. */
  const tally = (section) => {
    const counted = [...section.querySelectorAll("[data-counted]")];
    const filled = counted.filter((one) => one.querySelector(FILLED)).length;
    const told = section.querySelector("[data-tally]");
    told.textContent = told.dataset.tally.split("|")[filled];
    return filled;
  };

  document.addEventListener("keydown", onKey);
  document.addEventListener("scan:leaves", onScanLeaves);
  document.addEventListener("submit", onSubmit);
  document.addEventListener("input", onInput);
  document.addEventListener("click", (event) => {
    if (event.target.closest("[data-print]")) window.print();
  });
  window.addEventListener("beforeunload", onLeave);
  window.addEventListener("online", probe);
  window.addEventListener("offline", probe);
  document.addEventListener("visibilitychange", () => {
    if (!document.hidden && isLost) probe();
  });
  window.addEventListener("resize", openTables);
  window.addEventListener("load", () => setTimeout(unfold));
  window.addEventListener("pageshow", unfoldFilled);
  document.addEventListener("htmx:afterSettle", () => {
    unfoldFilled();
    document.querySelector("[data-focus]")?.focus();
  });
  window.addEventListener("hashchange", unfold);
  /* The library of passkeys says on its button's element that one is made. */
  document.addEventListener("otp_webauthn.register_complete", (event) => {
    window.location.assign(event.target.closest("[data-after-passkey]").dataset.afterPasskey);
  });

  /* Once the page is read, and before the scripts that may come later. */
  const onRead = () => {
    if (!navigator.onLine) probe();
    dropSentDrafts();
    [...document.forms].filter(keepName).forEach(bringBack);
    sayWhatIsLeft();
    unfoldFilled();
    document.querySelectorAll("form[data-once]").forEach(keepKey);
    openTables();
    document.querySelectorAll("[data-print]").forEach((button) => (button.hidden = false));
    document.querySelector("[data-focus]")?.focus();
    /* A bench page without a first field or action waits for the next code. */
    const isBench = document.body.classList.contains("bench");
    const first = document.querySelector("[data-focus], [autofocus]") ?? (isBench ? byId("code-search") : null);
    if (document.activeElement === document.body) first?.focus({ preventScroll: true });
  };
  document.addEventListener("readystatechange", () => {
    if (document.readyState === "interactive") onRead();
  });
})();
