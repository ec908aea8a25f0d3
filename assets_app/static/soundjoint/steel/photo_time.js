// The time at which a photo was taken, read from a JPEG's EXIF and written into the smaller copy. Nothing else is
// carried over: no position, no maker's notes. Layout by JEITA CP-3451 (Exif 2.3), tags 0x8769, 0x9003, 0x0132.
const DATE_TIME = 0x0132, INNER = 0x8769, ORIGINAL = 0x9003;

// "2026:06:15 10:32:00", or "" where the photo does not say.
export function takenAt(buffer) {
  try {
    const view = new DataView(buffer);
    if (view.getUint16(0) !== 0xffd8) return "";
    for (let at = 2; view.getUint8(at) === 0xff; at += 2 + view.getUint16(at + 2)) {
      const marker = view.getUint8(at + 1);
      if (marker === 0xda) return "";
      if (marker === 0xe1 && view.getUint32(at + 4) === 0x45786966) return timeIn(new DataView(buffer, at + 10));
    }
  } catch (error) {
    if (!(error instanceof RangeError)) throw error; // cut short: it does not say
  }
  return "";
}

function timeIn(tiff) {
  const little = tiff.getUint16(0) === 0x4949;
  const first = entries(tiff, tiff.getUint32(4, little), little);
  const inner = first.get(INNER) ? entries(tiff, tiff.getUint32(first.get(INNER), little), little) : new Map();
  const place = inner.get(ORIGINAL) || first.get(DATE_TIME);
  if (!place) return "";
  const start = tiff.getUint32(place, little);
  const text = Array.from({ length: 19 }, (_, index) => String.fromCharCode(tiff.getUint8(start + index))).join("");
  return /^\d{4}:\d\d:\d\d \d\d:\d\d:\d\d$/.test(text) ? text : "";
}

// tag -> where its value stands
function entries(tiff, start, little) {
  const found = new Map();
  for (let index = 0; index < tiff.getUint16(start, little); index += 1) {
    const at = start + 2 + 12 * index;
    found.set(tiff.getUint16(at, little), at + 8);
  }
  return found;
}

export async function withTime(jpeg, time) {
  if (!time) return jpeg;
  const exif = new Uint8Array(4 + 6 + 8 + 2 + 12 + 4 + 20);
  const view = new DataView(exif.buffer);
  view.setUint16(0, 0xffe1);
  view.setUint16(2, exif.length - 2);
  exif.set([0x45, 0x78, 0x69, 0x66, 0, 0], 4); // Exif
  view.setUint32(10, 0x4d4d002a); // big end first
  view.setUint32(14, 8);
  view.setUint16(18, 1); // one entry
  view.setUint16(20, DATE_TIME);
  view.setUint16(22, 2); // text
  view.setUint32(24, 20);
  view.setUint32(28, 26); // behind the entry and the end of the list
  exif.set([...time].map((sign) => sign.charCodeAt(0)), 36);
  return new Blob([jpeg.slice(0, 2), exif, jpeg.slice(2)], { type: "image/jpeg" });
}
