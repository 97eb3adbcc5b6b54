// Entry at the bench: Enter goes to the next cell, every cell is sent by itself and answered with its decision. Without this script the
// form keeps all cells at once.
const form = document.querySelector<HTMLFormElement>("form[data-grid]");

if (form) {
  const cells = Array.from(form.querySelectorAll<HTMLInputElement>("input[data-cell]"));
  const say = form.querySelector<HTMLElement>("[data-say]");
  const told = (text: string) => { if (say) { say.textContent = text; say.hidden = text === ""; } };

  async function send(cell: HTMLInputElement): Promise<void> {
    const body = new URLSearchParams();
    body.set(cell.name, cell.value);
    const balloon = cell.name.split("-")[1];
    const tool = form!.elements.namedItem("tool-" + balloon) as HTMLSelectElement | null;
    if (tool) body.set(tool.name, tool.value);
    const overdue = form!.elements.namedItem("overdue") as HTMLInputElement | null;
    if (overdue) body.set("overdue", overdue.value);
    try {
      const r = await fetch(form!.action, { method: "POST", body, headers: { Accept: "application/json" } });
      const a = (await r.json()) as { decision?: string; message?: string; word?: string; taken?: number; to?: number };
      if (!r.ok) { cell.setAttribute("aria-invalid", "true"); told(a.message ?? "It was not kept."); return; }
      cell.removeAttribute("aria-invalid");
      cell.defaultValue = cell.value;
      cell.dataset.decision = a.decision ?? "";
      cell.title = a.decision ?? "";
      told(a.taken + " of " + a.to + " values, " + a.word);
    } catch {
      told("There is no connection; the value stands here and can be kept with the button later.");
    }
  }

  cells.forEach((cell, i) => {
    cell.addEventListener("change", () => void send(cell));
    cell.addEventListener("keydown", (e) => {
      if (e.key !== "Enter") return;
      e.preventDefault();
      const next = cells[i + 1];
      if (next) { next.focus(); next.select(); } else cell.blur();
    });
  });
}
