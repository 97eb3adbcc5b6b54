// Bars of the board that have not begun can be dragged along their row. Letting go asks the desk what that would move; nothing is
// kept before a person says so. Without this script the form below the board does the same.
const svg = document.querySelector<SVGSVGElement>("svg[data-days]");
if (svg) {
  const days = svg.dataset["days"]!.split(" ").map(Number); // beginnings of the days, s; the last is the end
  const left = Number(svg.dataset["left"]), right = Number(svg.dataset["right"]);
  const now = Number(svg.dataset["now"]);
  const wide = (right - left) / (days.length - 1);
  const step = 900; // a quarter of an hour

  const atX = (x: number): number => {
    const k = Math.max(0, Math.min(days.length - 2, Math.floor((x - left) / wide)));
    const f = (x - left) / wide - k;
    return days[k]! + f * (days[k + 1]! - days[k]!);
  };
  const inside = (e: PointerEvent): DOMPoint => new DOMPoint(e.clientX, e.clientY).matrixTransform(svg.getScreenCTM()!.inverse());
  const words = new Intl.DateTimeFormat("en-GB", { weekday: "short", day: "numeric", month: "short", hour: "2-digit", minute: "2-digit", timeZone: svg.dataset["zone"] || "UTC" });
  const say = document.querySelector<HTMLElement>("[data-plan-says]");

  let held: { bar: SVGGElement; x: number; from: number; start: number; moved: boolean } | null = null;
  let justDragged = false;

  svg.addEventListener("pointerdown", (e) => {
    const bar = (e.target as Element).closest<SVGGElement>("[data-task]");
    if (!bar || e.button !== 0) return;
    held = { bar, x: inside(e).x, from: Number(bar.dataset["x"]), start: 0, moved: false };
    bar.setPointerCapture(e.pointerId);
  });
  svg.addEventListener("pointermove", (e) => {
    if (!held) return;
    const dx = inside(e).x - held.x;
    if (!held.moved && Math.abs(dx) < 4) return;
    held.moved = true;
    const t = Math.max(atX(held.from + dx), now);
    held.start = Math.ceil(t / step) * step;
    held.bar.setAttribute("transform", `translate(${dx.toFixed(1)} 0)`);
    held.bar.classList.add("held");
    if (say) {
      say.hidden = false;
      say.textContent = "not before " + words.format(held.start * 1000);
    }
  });
  const drop = (e: PointerEvent, keep: boolean) => {
    if (!held) return;
    const h = held;
    held = null;
    h.bar.classList.remove("held");
    if (!h.moved || !keep) {
      h.bar.removeAttribute("transform");
      if (say) say.hidden = true;
      return;
    }
    justDragged = true;
    setTimeout(() => { justDragged = false; }, 300);
    const to = new URL("/board", location.href);
    to.searchParams.set("kind", "move");
    to.searchParams.set("task", h.bar.dataset["task"]!);
    to.searchParams.set("op", h.bar.dataset["op"]!);
    to.searchParams.set("start", String(h.start));
    const from = new URL(location.href).searchParams.get("from");
    if (from) to.searchParams.set("from", from);
    to.hash = "tried";
    location.assign(to);
    e.preventDefault();
  };
  svg.addEventListener("pointerup", (e) => drop(e, true));
  svg.addEventListener("pointercancel", (e) => drop(e, false));
  addEventListener("keydown", (e) => { if (e.key === "Escape" && held) { held.bar.removeAttribute("transform"); held.bar.classList.remove("held"); held = null; if (say) say.hidden = true; } });
  // A link that was dragged is not followed.
  svg.addEventListener("click", (e) => { if (justDragged) { e.preventDefault(); e.stopPropagation(); } }, true);
  svg.addEventListener("dragstart", (e) => e.preventDefault());
}
