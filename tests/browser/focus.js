// Says what has the focus, and what is wrong with how that shows; an empty name when the page has been left.
() => {
  const focused = document.activeElement;
  if (!focused || focused === document.body) return ["", ""];
  const name = `${focused.tagName.toLowerCase()} “${(focused.innerText || focused.name || "").trim().slice(0, 40)}”`;
  const shows = (element) => {
    const style = getComputedStyle(element);
    return style.outlineStyle !== "none" && parseFloat(style.outlineWidth) >= 2;
  };
  // Inside a date field the browser has a button of its own, and rings it itself.
  const itself = ["date", "datetime-local", "time"].includes(focused.type) && !focused.matches(":focus-visible");
  if (!itself && ![focused, focused.closest("label"), focused.closest(".row")].some((each) => each && shows(each)))
    return [name, "has the focus and doesn't show it"];
  const box = (focused.closest("label") || focused).getBoundingClientRect();
  const [x, y] = [box.x + box.width / 2, box.y + box.height / 2];
  if (x < 0 || x > innerWidth || y < 0 || y > innerHeight) return [name, "has the focus outside the window"];
  const over = document.elementFromPoint(x, y);
  const own = over && (focused.contains(over) || over.contains(focused) || over.closest("label")?.contains(focused));
  return [name, own ? "" : `has the focus under ${over?.outerHTML.slice(0, 80)}`];
}
