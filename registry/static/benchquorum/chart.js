// Marks the chosen cell and moves the reading eye (and the screen reader) to its readings.
document.addEventListener("htmx:afterSwap", () => {
  const here = new URLSearchParams(location.search);
  for (const cell of document.querySelectorAll("a.cell")) {
    const asked = new URL(cell.href).searchParams;
    const same = ["position", "pin", "against", "between"].every((name) => asked.get(name) === here.get(name));
    if (same) cell.setAttribute("aria-current", "true");
    else cell.removeAttribute("aria-current");
  }
  const title = document.getElementById("readings-title");
  if (title) {
    title.focus({ preventScroll: true });
    const still = matchMedia("(prefers-reduced-motion: reduce)").matches;
    title.scrollIntoView({ block: "nearest", behavior: still ? "auto" : "smooth" });
  }
});
