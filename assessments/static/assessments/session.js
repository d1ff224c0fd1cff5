// The board asks for itself in place: the page doesn't jump, and what is being read or typed stays.
(() => {
  "use strict";

  const board = document.getElementById("board");
  const seconds = Number(board?.dataset.fresh);
  if (!seconds) return;

  const busy = () => document.hidden || board.contains(document.activeElement);

  const refresh = async () => {
    if (busy()) return;
    const answer = await fetch(location.href, { credentials: "same-origin" });
    if (!answer.ok || answer.redirected) {
      location.reload();
      return;
    }
    const fresh = new DOMParser().parseFromString(await answer.text(), "text/html");
    for (const selector of ["#board", ".sheet-head", ".actions"]) {
      const now = document.querySelector(selector);
      const next = fresh.querySelector(selector);
      if (now && next && now.innerHTML !== next.innerHTML) now.replaceChildren(...next.childNodes);
    }
  };

  setInterval(() => refresh().catch(() => {}), seconds * 1000);
})();
