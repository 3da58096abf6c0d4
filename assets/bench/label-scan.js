// @ts-check
// A label's code is read in this browser: by the camera where there is one, else from a picture. Only what it says is sent.
import { BarcodeDetector } from './qr/decode.js';

/** The longest side of a picture that is looked at, pixels. */
const LARGEST = 3000;
const detector = new BarcodeDetector();

class LabelScan extends HTMLElement {
  connectedCallback() {
    const button = this.querySelector('button');
    // A camera is given to pages of this computer, and to no page that comes over a network in plain.
    if (button && navigator.mediaDevices) button.hidden = false;
    button?.addEventListener('click', () => this.watch());
    const field = this.querySelector('input');
    field?.addEventListener('change', () => this.read(field.files?.[0]));
  }

  /** @param {string} words */
  say(words) {
    const place = this.querySelector('[role=status]');
    if (place) place.textContent = words;
  }

  async watch() {
    const video = this.querySelector('video');
    const stream = await navigator.mediaDevices.getUserMedia({ video: { facingMode: 'environment' } }).catch(() => null);
    if (!stream || !video) return this.say(this.dataset.noCamera ?? '');
    addEventListener('pagehide', () => stream.getTracks().forEach((track) => track.stop()));
    video.srcObject = stream;
    video.hidden = false;
    await video.play();
    this.say(this.dataset.looking ?? '');
    while (this.isConnected && stream.active && !(await this.found(video))) await new Promise((next) => setTimeout(next, 150));
  }

  /** @param {File} [file] */
  async read(file) {
    const whole = file && (await createImageBitmap(file).catch(() => null));
    if (!whole) return this.say(this.dataset.noPicture ?? '');
    const share = Math.min(1, LARGEST / Math.max(whole.width, whole.height));
    const size = { resizeWidth: Math.ceil(whole.width * share), resizeHeight: Math.ceil(whole.height * share) };
    if (!(await this.found(share < 1 ? await createImageBitmap(whole, size) : whole))) this.say(this.dataset.none ?? '');
  }

  /** @param {HTMLVideoElement | ImageBitmap} picture */
  async found(picture) {
    const [code] = await detector.detect(picture);
    if (code) location.assign(`${this.dataset.to}?text=${encodeURIComponent(code.rawValue)}`);
    return code !== undefined;
  }
}

customElements.define('label-scan', LabelScan);
