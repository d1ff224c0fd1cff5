// What is being made is asked for in place: the page doesn't jump, and nothing that has the focus loses it.
(() => {
  "use strict";

  const seconds = Number(document.currentScript.dataset.every);

  const look = async () => {
    const answer = await fetch(location.href, { credentials: "same-origin" });
    if (!answer.ok || answer.redirected) {
      location.assign(answer.url);
      return;
    }
    const fresh = new DOMParser().parseFromString(await answer.text(), "text/html");
    const [now, next] = [document, fresh].map((page) => page.querySelector("main"));
    if (next && now.innerHTML !== next.innerHTML) now.replaceChildren(...next.childNodes);
    if (fresh.querySelector("script[data-every]")) setTimeout(again, seconds * 1000);
  };
  const again = () => look().catch(() => setTimeout(again, seconds * 1000));

  setTimeout(again, seconds * 1000);
})();
