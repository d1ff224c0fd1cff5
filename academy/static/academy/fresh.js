// The page asks for itself in place: it doesn't jump, and what is being read or typed stays.
// data-every: seconds; data-parts: what is put in the place of the same; data-rests: where the focus holds it.
(() => {
  "use strict";

  const { every, parts, rests } = document.currentScript.dataset;
  const busy = () => rests && (document.hidden || document.querySelector(rests)?.contains(document.activeElement));

  const look = async () => {
    if (busy()) return true;
    const answer = await fetch(location.href, { credentials: "same-origin" });
    if (!answer.ok || answer.redirected) {
      location.assign(answer.url);
      return false;
    }
    const fresh = new DOMParser().parseFromString(await answer.text(), "text/html");
    for (const part of parts.split(",")) {
      const [now, next] = [document, fresh].map((page) => page.querySelector(part));
      if (now && next && now.innerHTML !== next.innerHTML) now.replaceChildren(...next.childNodes);
    }
    return fresh.querySelector("script[data-every]") !== null;
  };
  const again = () => setTimeout(() => look().catch(() => true).then((goesOn) => goesOn && again()), every * 1000);

  again();
})();
