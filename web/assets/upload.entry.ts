// Drag and drop, a list of what was chosen, and a bar while the files travel. Without it the form is a plain one.
function size(b: number): string {
  return b >= 1 << 20 ? `${(b / (1 << 20)).toFixed(1)} MB` : `${Math.max(1, Math.round(b / 1024))} kB`;
}

for (const drop of document.querySelectorAll<HTMLElement>("[data-drop]")) {
  const input = drop.querySelector<HTMLInputElement>("input[type=file]")!;
  const list = drop.querySelector<HTMLElement>("[data-chosen]")!;
  const show = () => {
    list.replaceChildren(...[...(input.files ?? [])].map((f) => {
      const li = document.createElement("li");
      li.textContent = `${f.name}, ${size(f.size)}`;
      return li;
    }));
  };
  input.addEventListener("change", show);
  for (const on of ["dragenter", "dragover"]) drop.addEventListener(on, (e) => { e.preventDefault(); drop.classList.add("over"); });
  for (const on of ["dragleave", "drop"]) drop.addEventListener(on, () => drop.classList.remove("over"));
  drop.addEventListener("drop", (e) => {
    e.preventDefault();
    const all = new DataTransfer();
    for (const f of input.files ?? []) all.items.add(f);
    for (const f of e.dataTransfer?.files ?? []) all.items.add(f);
    input.files = all.files;
    show();
  });
}

for (const form of document.querySelectorAll<HTMLFormElement>("form[data-upload]")) {
  form.addEventListener("submit", (e) => {
    e.preventDefault();
    const button = form.querySelector<HTMLButtonElement>("button:not([type=button])")!;
    const bar = document.createElement("progress");
    bar.max = 100;
    bar.setAttribute("aria-label", "Files on their way");
    button.disabled = true;
    button.after(bar);
    const x = new XMLHttpRequest();
    x.open("POST", form.action);
    x.setRequestHeader("Accept", "application/json");
    x.upload.addEventListener("progress", (p) => { if (p.lengthComputable) bar.value = (100 * p.loaded) / p.total; });
    const fail = (text: string) => {
      button.disabled = false;
      bar.remove();
      form.querySelector(".error")?.remove();
      const div = document.createElement("div");
      div.className = "error";
      div.setAttribute("role", "alert");
      div.textContent = text;
      form.prepend(div);
    };
    x.addEventListener("load", () => {
      const plain = x.getResponseHeader("Content-Type")?.includes("json");
      if (x.status < 300 && plain) { location.assign(JSON.parse(x.responseText).at); return; }
      const page = new DOMParser().parseFromString(x.responseText, "text/html");
      fail(page.querySelector("[role=alert] p")?.textContent ?? "The upload was not taken; try again.");
    });
    x.addEventListener("error", () => fail("The upload broke off; send the files again."));
    x.send(new FormData(form));
  });
}
