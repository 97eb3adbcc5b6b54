// Reports from a card on the floor. While there is no connection they are kept on the phone, each with an id of its own, and
// sent later in their order; the desk keeps an id once, however often it arrives. Without this script the forms work as they are.
type Kept = { url: string; body: string; what: string; at: number };

const box = document.querySelector<HTMLElement>("[data-floor]");
const key = "firstoff-floor";
const read = (): Kept[] => { try { return JSON.parse(localStorage.getItem(key) ?? "[]") as Kept[]; } catch { return []; } };
const write = (q: Kept[]) => localStorage.setItem(key, JSON.stringify(q));
const note = box?.querySelector<HTMLElement>("[data-queue]") ?? null;

function say(text: string) {
  if (!note) return;
  note.hidden = text === "";
  note.textContent = text;
}

function newID(): string {
  const b = crypto.getRandomValues(new Uint8Array(16));
  return Array.from(b, (x) => x.toString(16).padStart(2, "0")).join("");
}

let sending = false;
let refused = "";

/** Sends what is kept, oldest first, and stops at the first that cannot be delivered. */
async function flush(): Promise<boolean> {
  if (sending) return false;
  sending = true;
  let sent = 0;
  try {
    for (let q = read(); q.length > 0; q = read()) {
      const first = q[0]!;
      let r: Response;
      try {
        r = await fetch(first.url, { method: "POST", body: first.body, headers: { "Content-Type": "application/x-www-form-urlencoded", Accept: "application/json" } });
      } catch {
        break; // no connection
      }
      if (r.status >= 500) break; // the desk is busy: later
      if (!r.ok) {
        const why = (await r.json().catch(() => ({ message: "The desk refused it." }))) as { message: string };
        refused += `${first.what}: ${why.message} `;
      }
      write(read().slice(1));
      sent++;
    }
  } finally {
    sending = false;
  }
  const left = read();
  const waiting = left.length === 0 ? "" : `No connection. Kept on this phone: ${left.map((k) => k.what).join(", ")}.`;
  say(refused + waiting);
  return left.length === 0 && sent > 0 && refused === "";
}

/** Shows the other question while the desk cannot say what comes next. */
function ahead(kind: string) {
  const panel = (name: string, shown: boolean) => { const p = box?.querySelector<HTMLElement>(`[data-panel="${name}"]`); if (p) p.hidden = !shown; };
  if (kind === "start") { panel("start", false); panel("run", true); }
  if (kind === "pause") { panel("start", true); panel("run", false); }
  if (kind === "finish") { panel("start", false); panel("run", false); }
}

if (box) {
  box.addEventListener("submit", (e) => {
    const form = e.target as HTMLFormElement;
    if (!form.matches("[data-event]")) return;
    e.preventDefault();
    const button = (e as SubmitEvent).submitter as HTMLButtonElement | null;
    const data = new URLSearchParams();
    for (const [k, v] of new FormData(form)) data.append(k, String(v));
    if (button?.name) data.set(button.name, button.value);
    data.set("event", newID());
    data.set("at", String(Date.now()));
    const kind = data.get("kind") ?? "";
    write([...read(), { url: form.action, body: data.toString(), what: kind, at: Date.now() }]);
    refused = "";
    void flush().then((all) => { if (all) location.reload(); else ahead(kind); });
  });
  const later = () => { if (read().length > 0) void flush().then((all) => { if (all) location.reload(); }); };
  window.addEventListener("online", later);
  window.setInterval(later, 15_000);
  later();
}
