import { type ReadonlySignal, signal } from '@preact/signals';
import { type Kept, readKept } from './kept.ts';

/**
 * What somebody has chosen by name, such as favourites and folded sections, kept by the browser for each
 * prop.
 */
export class Choices {
  readonly #kept: Kept;
  readonly #what: string;
  readonly #made = signal<ReadonlyMap<string, boolean>>(new Map());
  #prop = '';

  /** @param what names them in the storage */
  constructor(what: string, kept: Kept) {
    this.#what = what;
    this.#kept = kept;
  }

  get made(): ReadonlySignal<ReadonlyMap<string, boolean>> {
    return this.#made;
  }

  /** Reads what was chosen for a prop. */
  load(prop: string): void {
    this.#prop = prop;
    const found = readKept(this.#kept.getItem(this.#key));
    const pairs = Array.isArray(found) ? found.filter(isPair) : [];
    this.#made.value = new Map(pairs);
  }

  /** @param choice undefined takes it back */
  set(name: string, choice: boolean | undefined): void {
    const made = new Map(this.#made.peek());
    if (choice === undefined) made.delete(name);
    else made.set(name, choice);
    this.#made.value = made;
    this.#kept.setItem(this.#key, JSON.stringify([...made]));
  }

  get #key(): string {
    return `sinew-${this.#what}/${this.#prop}`;
  }
}

const isPair = (one: unknown): one is [string, boolean] =>
  Array.isArray(one) && typeof one[0] === 'string' && typeof one[1] === 'boolean';
