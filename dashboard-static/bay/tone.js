// A tone for who cannot look: while a slow movement is in its band, and two notes for a shot, rising when
// all of it was in its bands, falling when not. Off until somebody presses the key.

const IN_HZ = 523;
const NOTES = { in: [523, 784], out: [392, 262] };
const LOUDNESS = 0.08;
const NOTE_S = 0.16;
// Softer than a click at both ends.
const RAMP_S = 0.02;

/** Owns the sound; `node` shows whether it is on. */
export class Tone {
  constructor(node) {
    this.node = node;
    this.on = false;
    this.said = null;
    this.write();
  }

  /** On or off; the browser asks for a key or a touch before there may be sound. */
  toggle() {
    this.on = !this.on;
    this.audio ??= new AudioContext();
    if (this.on) this.audio.resume();
    else this.hold(false);
    this.write();
  }

  /** A slow movement is in its band, out of it, or (with `null`) not judged. */
  live(verdict) {
    this.hold(this.on && verdict === "in");
  }

  /** A shot was judged; each is said once. */
  shot(judged) {
    if (!judged || judged.swing === this.said) return;
    const first = this.said === null;
    this.said = judged.swing;
    if (!this.on || first) return;
    NOTES[judged.verdict].forEach((hz, i) => this.note(hz, i * NOTE_S));
    this.node.dataset.last = judged.verdict;
  }

  hold(sounding) {
    if (sounding === Boolean(this.held)) return;
    if (sounding) this.held = this.start(IN_HZ, 0);
    else this.end(this.held, this.audio.currentTime);
    if (!sounding) this.held = null;
    this.write();
  }

  note(hz, after) {
    const note = this.start(hz, after);
    this.end(note, this.audio.currentTime + after + NOTE_S - RAMP_S);
  }

  start(hz, after) {
    const [oscillator, gain] = [this.audio.createOscillator(), this.audio.createGain()];
    const at = this.audio.currentTime + after;
    oscillator.frequency.value = hz;
    gain.gain.setValueAtTime(0, at);
    gain.gain.linearRampToValueAtTime(LOUDNESS, at + RAMP_S);
    oscillator.connect(gain).connect(this.audio.destination);
    oscillator.start(at);
    return { oscillator, gain };
  }

  end({ oscillator, gain }, at) {
    gain.gain.setValueAtTime(LOUDNESS, at);
    gain.gain.linearRampToValueAtTime(0, at + RAMP_S);
    oscillator.stop(at + RAMP_S);
  }

  write() {
    this.node.dataset.on = this.on;
    this.node.dataset.sounding = this.held ? "in" : "";
    this.node.textContent = this.on ? "♪ tone on · key t" : "tone off · key t";
  }
}
