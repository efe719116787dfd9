/**
 * A stop that acts on the press: waiting for the release costs a tenth of a second and more, and a
 * finger that slides off would not stop at all. One press is one stop, however long it is held.
 */
export class StopPress {
  readonly #stop: () => void;
  /** A press has stopped; the click that ends it is the same one. */
  #pressed = false;

  constructor(stop: () => void) {
    this.#stop = stop;
  }

  /** Of a button, with any pointer. */
  readonly pointerDown = (): void => {
    this.#pressed = true;
    this.#stop();
  };

  /** A key on the button; Escape anywhere. */
  readonly keyDown = (event: Pick<KeyboardEvent, 'key' | 'repeat'>): void => {
    if (event.key !== 'Enter' && event.key !== ' ') return;
    this.#pressed = true;
    if (!event.repeat) this.#stop();
  };

  /** What comes without a press, such as from a screen reader, stops as well. */
  readonly click = (): void => {
    if (!this.#pressed) this.#stop();
    this.#pressed = false;
  };
}
