import fc from '../fast-check.ts';
import type { Client, Rig } from './rig.ts';

/** What random programs of commands are made of. */
export interface Act<S extends Stage = Stage> {
  do: string;
  run: (stage: S) => unknown;
}

/** A rig with whoever commands it now; each refusal is fine, each other failure is not. */
export class Stage {
  readonly rig: Rig;
  client: Client;

  constructor(rig: Rig) {
    this.rig = rig;
    this.client = rig.client('desk');
  }

  /** Another client takes over, as long as there is room for one more session (32). */
  next(): void {
    if (this.rig.clients.length < 32) this.client = this.rig.client('next');
    this.ask('lease.take');
  }

  ask(method: Parameters<Client['call']>[0], params: object = {}): void {
    this.client.call(method, params as never).catch((error: Error) => {
      if (error.name !== 'Refusal') throw error;
    });
  }
}

export const asks = (method: Parameters<Client['call']>[0], params: object = {}): Act => ({
  do: `${method} ${JSON.stringify(params)}`,
  run: (stage) => stage.ask(method, params),
});

/** Everything that ends what goes on: asked for, or by a link or a button. */
export const endings = [
  fc.constantFrom(asks('park'), asks('wake'), asks('reset'), asks('lease.take')),
  fc.constantFrom(0, 1, 2).map((category) => asks('stop', { category })),
  fc.constantFrom(0, 0.2, 5).map((graceS) => asks('lease.release', { graceS })),
];

export const mishaps: Act[] = [
  {
    do: 'the link is cut; somebody else comes',
    run: (stage) => {
      stage.rig.commands.gone(stage.client.session.id);
      stage.next();
    },
  },
  {
    do: 'silence; somebody else comes',
    run: async (stage) => {
      stage.client.silent = true;
      await stage.rig.run(700);
      stage.next();
    },
  },
  {
    do: 'the stop button is hit, and let go of',
    run: async ({ rig }) => {
      rig.board().level.set('stopInput', 1);
      await rig.run(50);
      rig.board().level.set('stopInput', 0);
    },
  },
];

export const recovery: fc.Arbitrary<Act> = fc.constant({
  do: 'reset, and wake',
  run: async (stage) => {
    stage.ask('lease.take');
    await stage.rig.run(1500);
    stage.ask('reset');
    stage.ask('wake');
    await stage.rig.run(1500);
  },
});
