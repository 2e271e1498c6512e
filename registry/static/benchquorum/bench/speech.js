// The next pin and position, spoken by the browser itself if asked for; a tick of vibration where there is one.
export function say(text) {
  if (!("speechSynthesis" in window)) return;
  speechSynthesis.cancel();
  const words = new SpeechSynthesisUtterance(text);
  words.lang = document.documentElement.lang;
  speechSynthesis.speak(words);
}

export function tick() {
  if (!matchMedia("(prefers-reduced-motion: reduce)").matches) navigator.vibrate?.(12);
}
