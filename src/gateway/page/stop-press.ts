/** The click of a press comes this soon (ms) after its release; a touch screen may wait 0.3 s. */
const CLICK_WITHIN_MS = 500;

/**
 * A stop that acts on the press: waiting for the release costs a tenth of a second and more, and a
 * finger that slides off would not stop at all. One press is one stop, however long it is held.
 */
export class StopPress {
  readonly #stop: () => void;
  /** A press has stopped; the click that ends it is the same one. */
  #pressed = false;
  #timer: ReturnType<typeof setTimeout> | undefined;

  constructor(stop: () => void) {
    this.#stop = stop;
  }

  /** Of a button, with any pointer. */
  readonly pointerDown = (): void => {
    this.#press();
    this.#stop();
  };

  /** A key on the button; Escape anywhere. */
  readonly keyDown = (event: Pick<KeyboardEvent, 'key' | 'repeat'>): void => {
    if (event.key !== 'Enter' && event.key !== ' ') return;
    this.#press();
    if (!event.repeat) this.#stop();
  };

  #press(): void {
    clearTimeout(this.#timer);
    this.#pressed = true;
  }

  /** The finger or the key is up, wherever that was; one that has slid off brings no click. */
  readonly released = (): void => {
    clearTimeout(this.#timer);
    this.#timer = setTimeout(() => {
      this.#pressed = false;
    }, CLICK_WITHIN_MS);
  };

  /** What comes without a press, such as from a screen reader, stops as well. */
  readonly click = (): void => {
    if (!this.#pressed) this.#stop();
    this.#pressed = false;
  };
}
