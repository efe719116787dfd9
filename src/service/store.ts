import type { Nothing, Restored, Saved, Store } from '../core/store.ts';
import type { ServiceHost } from './host.ts';
import type { Opened } from './protocol.ts';

/** The core's way to what must outlive it: the prop-file service writes it, and nobody waits. */
export class ServiceStore implements Store {
  readonly restored: Restored | Nothing;
  readonly #service: ServiceHost;
  #noted: Store['noted'] = 'yes';
  /** Counts durable saves: the last one decides. */
  #asked = 0;

  constructor(service: ServiceHost, { restored }: Pick<Opened, 'restored'>) {
    this.#service = service;
    this.restored = restored;
  }

  get noted(): Store['noted'] {
    return this.#noted;
  }

  bootNowS(): number {
    return Number(process.hrtime.bigint()) / 1e9;
  }

  save(state: Saved, durable: boolean): void {
    const saving = this.#service.saveState(state, durable);
    if (!durable) {
      // Reported in the service's log; the next durable one says whether it may be relied on.
      saving.catch(() => {});
      return;
    }
    const asked = ++this.#asked;
    this.#noted = 'not yet';
    const settle = (noted: 'yes' | Error): void => {
      if (asked === this.#asked) this.#noted = noted;
    };
    saving.then(() => settle('yes'), settle);
  }
}
