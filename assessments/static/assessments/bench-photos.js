/* Photos, made small enough to keep on the phone. When it was taken stays with it. */
"use strict";

self.benchPhotos = (() => {
  const KEPT_AS_IT_IS = 1_500_000;
  const LONGEST_SIDE = 2400;
  const QUALITY = 0.86;
  const EXIF = [0x45, 0x78, 0x69, 0x66, 0, 0];

  class NoPhoto extends Error {}

  /* A copy of the photo that outlives the file it came from. Throws NoPhoto, with words for the person. */
  async function fit(file) {
    if (!file || !file.size) throw new NoPhoto("Take or choose a photo first.");
    if (file.type === "image/jpeg" && file.size <= KEPT_AS_IT_IS) {
      return new Blob([await file.arrayBuffer()], { type: file.type });
    }
    let picture;
    try {
      picture = await createImageBitmap(file, { imageOrientation: "from-image" });
    } catch {
      throw new NoPhoto("This file isn’t a photo that this phone can read. Use JPEG, PNG or WebP.");
    }
    try {
      return await smaller(picture, await exifOf(file));
    } finally {
      picture.close();
    }
  }

  async function smaller(picture, exif) {
    const scale = Math.min(1, LONGEST_SIDE / Math.max(picture.width, picture.height));
    const canvas = new OffscreenCanvas(
      Math.max(1, Math.round(picture.width * scale)),
      Math.max(1, Math.round(picture.height * scale)),
    );
    canvas.getContext("2d").drawImage(picture, 0, 0, canvas.width, canvas.height);
    const blob = await canvas.convertToBlob({ type: "image/jpeg", quality: QUALITY });
    if (exif === null) return new Blob([await blob.arrayBuffer()], { type: "image/jpeg" });
    const bytes = new Uint8Array(await blob.arrayBuffer());
    return new Blob([bytes.slice(0, 2), exif, bytes.slice(2)], { type: "image/jpeg" });
  }

  /* The Exif segment of a JPEG (Exif 3.0: APP1), its orientation set to upright, as the canvas drew it. */
  async function exifOf(file) {
    const head = new DataView(await file.slice(0, 200_000).arrayBuffer());
    if (head.byteLength < 4 || head.getUint16(0) !== 0xffd8) return null;
    for (let at = 2; at + 4 < head.byteLength && head.getUint8(at) === 0xff; ) {
      const length = head.getUint16(at + 2);
      const isExif = EXIF.every((byte, place) => at + 10 < head.byteLength && head.getUint8(at + 4 + place) === byte);
      if (head.getUint8(at + 1) === 0xe1 && isExif && at + 2 + length <= head.byteLength) {
        const segment = head.buffer.slice(at, at + 2 + length);
        stoodUpright(segment);
        return segment;
      }
      if (head.getUint8(at + 1) === 0xda) return null;
      at += 2 + length;
    }
    return null;
  }

  function stoodUpright(segment) {
    const view = new DataView(segment, 10);
    const little = view.getUint16(0) === 0x4949;
    const first = view.getUint32(4, little);
    if (first + 2 > view.byteLength) return;
    const count = view.getUint16(first, little);
    for (let place = 0; place < count; place += 1) {
      const at = first + 2 + 12 * place;
      if (at + 12 > view.byteLength) return;
      if (view.getUint16(at, little) === 0x0112) view.setUint16(at + 8, 1, little);
    }
  }

  return { fit, NoPhoto };
})();
