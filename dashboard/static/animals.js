// A photograph is made small in the browser before it is sent, which also leaves out where it was taken;
// and a chosen CSV file is put into the field it is sent from.
"use strict";
(() => {
  const MOST_PX = 1600;

  async function small(file) {
    const picture = await createImageBitmap(file, { imageOrientation: "from-image" });
    const share = Math.min(1, MOST_PX / Math.max(picture.width, picture.height));
    const canvas = document.createElement("canvas");
    canvas.width = Math.round(picture.width * share);
    canvas.height = Math.round(picture.height * share);
    canvas.getContext("2d").drawImage(picture, 0, 0, canvas.width, canvas.height);
    const made = await new Promise((done) => canvas.toBlob(done, "image/jpeg", 0.85));
    const bytes = new Uint8Array(await made.arrayBuffer());
    let text = "";
    for (let at = 0; at < bytes.length; at += 32768) text += String.fromCharCode(...bytes.subarray(at, at + 32768));
    return btoa(text);
  }

  for (const form of document.querySelectorAll("form[data-photograph]")) {
    form.hidden = false;
    form.addEventListener("submit", async (event) => {
      event.preventDefault();
      const said = form.querySelector("[role=status]");
      const file = form.querySelector("input[type=file]").files[0];
      if (!file) { said.textContent = "Choose a picture first."; return; }
      said.textContent = "Sending …";
      try {
        const person = form.dataset.keeper || form.querySelector("input[name=person]")?.value || "";
        const answer = await fetch(form.dataset.photograph, {
          method: "POST",
          headers: { "content-type": "application/json", "x-csrf-token": form.querySelector("input[name=csrf]").value },
          body: JSON.stringify({ content: await small(file), person }),
        });
        if (!answer.ok) throw new Error((await answer.json()).detail);
        location.reload();
      } catch (error) {
        said.textContent = `Not kept: ${error.message}`;
      }
    });
  }

  for (const field of document.querySelectorAll("input[data-into]")) {
    field.closest("label").hidden = false;
    field.addEventListener("change", async () => {
      if (field.files[0]) document.getElementById(field.dataset.into).value = await field.files[0].text();
    });
  }
})();
