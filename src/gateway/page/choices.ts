import { type ReadonlySignal, signal } from '@preact/signals';
import type { Kept } from './walk-progress.ts';

/**
 * What somebody has chosen by name, such as favourites and folded sections, kept by the browser for each
 * prop. Where the browser keeps nothing, a choice lasts as long as the page.
 */
export class Choices {
  readonly #kept: () => Kept;
  readonly #what: string;
  readonly #made = signal<ReadonlyMap<string, boolean>>(new Map());
  #prop = '';

  /** @param what names them in the storage; @param kept made when it is needed: it may be forbidden */
  constructor(what: string, kept: () => Kept) {
    this.#what = what;
    this.#kept = kept;
  }

  get made(): ReadonlySignal<ReadonlyMap<string, boolean>> {
    return this.#made;
  }

  /** Reads what was chosen for a prop. */
  load(prop: string): void {
    this.#prop = prop;
    let found: unknown;
    try {
      found = JSON.parse(this.#kept().getItem(this.#key) ?? '[]');
    } catch {
      // Storage is forbidden, or somebody wrote something else into it.
    }
    const pairs = Array.isArray(found) ? found.filter(isPair) : [];
    this.#made.value = new Map(pairs);
  }

  /** @param choice undefined takes it back */
  set(name: string, choice: boolean | undefined): void {
    const made = new Map(this.#made.peek());
    if (choice === undefined) made.delete(name);
    else made.set(name, choice);
    this.#made.value = made;
    try {
      this.#kept().setItem(this.#key, JSON.stringify([...made]));
    } catch {
      // Storage is full or forbidden.
    }
  }

  get #key(): string {
    return `sinew-${this.#what}/${this.#prop}`;
  }
}

const isPair = (one: unknown): one is [string, boolean] =>
  Array.isArray(one) && typeof one[0] === 'string' && typeof one[1] === 'boolean';
