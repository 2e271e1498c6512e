// Keys of the desk.  The page works without this: every key stands beside the control that it moves.
const form = document.querySelector("[data-decide]");

function writing(target) {
  return target instanceof HTMLElement && target.closest("textarea, select, input:not([type=radio], [type=checkbox])");
}

function choose(key) {
  const radio = form?.querySelector(`input[name=act][data-key="${CSS.escape(key)}"]`);
  if (!radio) return false;
  radio.checked = true;
  radio.focus();
  return true;
}

document.addEventListener("keydown", (event) => {
  if (event.altKey || event.metaKey || event.isComposing) return;
  if (event.key === "Enter" && form && (event.ctrlKey || event.target.name === "act")) {
    event.preventDefault();
    form.requestSubmit();
    return;
  }
  if (event.key === "Escape" && writing(event.target)) {
    event.target.blur();
    return;
  }
  if (event.ctrlKey || writing(event.target)) return;
  if (event.key === "u") {
    document.querySelector("[data-undo]")?.requestSubmit();
    return;
  }
  if (event.target.name !== "act") {
    const link = document.querySelector(`[data-key-link="${CSS.escape(event.key)}"]`);
    if (link) {
      event.preventDefault();
      link.click();
      return;
    }
  }
  if (choose(event.key)) event.preventDefault();
});

document.querySelector(".cases .now")?.scrollIntoView({ block: "nearest" });
