import type { ShowPageAnswer, ShowPageCommand } from '../api/show-page.ts';
import type { Show } from '../prop/schema.ts';
import { LinkedConductor } from '../show/conductor-link.ts';
import { LEAD_S, type ShowControl } from '../show/show-file.ts';
import { ConductedStage, type Stage } from './stage.ts';

/** What the broker keeps of the props is here soon after the connection (ms). */
const SETTLED_MS = 300;
/** A command that comes before that waits for it, but no longer than this (ms). */
const READY_MS = 4000;

/**
 * The show of a prop, by the prop's own account at the broker. It has no file of the show: the props and groups
 * are those that say so themselves.
 */
export class PropStage implements Stage {
  readonly #show: Show;
  readonly #link: LinkedConductor;
  readonly #stage: ConductedStage;
  readonly #ready: Promise<void>;
  #problem: string | undefined = 'it has not answered yet';

  constructor(show: Show) {
    this.#show = show;
    const { name, prop, broker } = show;
    const from = `page of ${prop}`;
    let ready = () => {};
    this.#ready = new Promise((resolve) => {
      ready = resolve;
    });
    setTimeout(ready, READY_MS);
    const onLink = (problem: string | undefined) => {
      this.#problem = problem;
      if (problem === undefined) setTimeout(ready, SETTLED_MS);
    };
    this.#link = new LinkedConductor({ show: name, broker, from, offersTime: false, onLink });
    this.#stage = new ConductedStage({
      conductor: this.#link.conductor,
      control: () => this.#known(),
      brokerProblem: () => this.#problem,
      user: broker.username ?? prop,
    });
    this.#link.start();
  }

  /** The show, as far as its props have said what they are. */
  #known(): ShowControl {
    const { name, broker } = this.#show;
    const props: ShowControl['props'] = {};
    const groups: ShowControl['groups'] = {};
    for (const [prop, status] of this.#link.conductor.statuses) {
      props[prop] = {};
      if (status.gone) continue;
      for (const group of status.groups) {
        if (!Object.hasOwn(groups, group)) groups[group] = [];
        groups[group]!.push(prop);
      }
    }
    return { name, broker, leadS: LEAD_S, props, groups };
  }

  read(): Promise<string> {
    return this.#stage.read();
  }

  async carryOut(asked: ShowPageCommand): Promise<ShowPageAnswer> {
    await this.#ready;
    return this.#stage.carryOut(asked);
  }

  control(has: boolean): void {
    this.#stage.control(has);
  }

  close(): Promise<void> {
    return this.#link.close();
  }
}
