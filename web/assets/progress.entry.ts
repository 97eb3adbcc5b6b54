// Watches how far the files of a request have come and renews the parts as they are found.
type Progress = { file_id: string; state: string; percent: number; step?: string };

const box = document.getElementById("folder");
const at = box?.dataset.progress;
if (box && at) {
  let pending = 0;
  const renew = async () => {
    const r = await fetch(box.dataset.parts!, { headers: { Accept: "text/html" } });
    if (!r.ok) return;
    const held = document.activeElement?.id;
    box.innerHTML = await r.text();
    if (held) document.getElementById(held)?.focus();
  };
  const soon = () => { window.clearTimeout(pending); pending = window.setTimeout(() => void renew(), 150); };
  const events = new EventSource(at);
  events.addEventListener("message", (e) => {
    const p = JSON.parse((e as MessageEvent<string>).data) as Progress;
    const row = document.getElementById(`file-${p.file_id}`);
    const bar = row?.querySelector("progress");
    if (bar && p.state !== "ready" && p.state !== "failed") {
      bar.value = p.percent;
      const step = row!.querySelector("[data-step]");
      if (step) step.textContent = p.step ?? "";
    } else {
      soon();
    }
  });
  events.addEventListener("end", () => {
    events.close();
    window.clearTimeout(pending);
    // The whole page: quotation and unit questions change too when the last file is done.
    location.reload();
  });
}
