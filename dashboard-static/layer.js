// What stands still under what moves: drawn once onto a canvas of its own and copied from there, until its
// key, its size or the device's pixels change.

export class Layer {
  /**
   * Puts the layer onto `context`.
   * @param {CanvasRenderingContext2D} context of the canvas that it belongs to, scaled to CSS pixels
   * @param {string} key what it shows
   * @param {(own: CanvasRenderingContext2D) => void} draw draws it; asked only when something changed
   */
  put(context, key, draw) {
    const { width, height } = context.canvas;
    if (!width || !height) return;
    const now = `${key} ${width} ${height}`;
    if (this.key !== now) {
      this.key = now;
      this.canvas ??= document.createElement("canvas");
      Object.assign(this.canvas, { width, height });
      const own = this.canvas.getContext("2d");
      own.setTransform(context.getTransform());
      draw(own);
    }
    context.save();
    context.setTransform(1, 0, 0, 1, 0, 0);
    context.drawImage(this.canvas, 0, 0);
    context.restore();
  }
}
