// A photo is made smaller on the device before it waits to be sent: at most 2000 px on its longest side. The smaller one
// is what is kept here and sent; the camera's own file is not kept by this page.
import { takenAt, withTime } from "./photo_time.js";

export const LONGEST = 2000;
const SMALL_ENOUGH = 1_500_000; // bytes; a small JPEG goes as it is
const QUALITY = 0.85;

// { blob, name, note }
export async function shrink(file) {
  let image;
  try {
    image = await createImageBitmap(file, { imageOrientation: "from-image" });
  } catch {
    return { blob: file, name: file.name, note: "could not be made smaller here, goes as it is" };
  }
  const factor = Math.min(1, LONGEST / Math.max(image.width, image.height));
  if (factor === 1 && file.type === "image/jpeg" && file.size <= SMALL_ENOUGH) {
    image.close();
    return { blob: file, name: file.name, note: "" };
  }
  const canvas = document.createElement("canvas");
  canvas.width = Math.round(image.width * factor);
  canvas.height = Math.round(image.height * factor);
  canvas.getContext("2d").drawImage(image, 0, 0, canvas.width, canvas.height);
  image.close();
  const plain = await new Promise((resolve) => { canvas.toBlob(resolve, "image/jpeg", QUALITY); });
  const time = takenAt(await file.slice(0, 262_144).arrayBuffer());
  return { blob: await withTime(plain, time), name: `${file.name.replace(/\.[^.]*$/, "") || "photo"}.jpg`, note: "" };
}
