// Photos are made smaller before they are kept, which also drops where they were taken.
"use strict";

const LONGEST_PX = 2000;
const QUALITY = 0.85;

/**
 * @param {File} file
 * @returns {Promise<File>} a JPEG, or the file itself where it is no photo
 */
async function smaller(file) {
  if (!file.type.startsWith("image/") || file.type === "image/svg+xml") return file;
  try {
    const picture = await createImageBitmap(file, { imageOrientation: /** @type {any} */ ("from-image") });
    const share = Math.min(1, LONGEST_PX / Math.max(picture.width, picture.height));
    const canvas = document.createElement("canvas");
    canvas.width = Math.max(1, Math.round(picture.width * share));
    canvas.height = Math.max(1, Math.round(picture.height * share));
    const pen = /** @type {CanvasRenderingContext2D} */ (canvas.getContext("2d"));
    pen.fillStyle = "#fff";  // what is see-through would turn black
    pen.fillRect(0, 0, canvas.width, canvas.height);
    pen.drawImage(picture, 0, 0, canvas.width, canvas.height);
    picture.close();
    /** @type {Blob | null} */
    const drawn = await new Promise((resolve) => canvas.toBlob(resolve, "image/jpeg", QUALITY));
    if (!drawn) return file;
    return new File([drawn], file.name.replace(/\.[^.]*$/, "") + ".jpg", { type: "image/jpeg" });
  } catch {
    return file;  // a kind of picture that this browser can't read: the server sees to it
  }
}
