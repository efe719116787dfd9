import type { ShownProp, ShownShow, ShowPageAnswer, ShowPageCommand } from '../api/show-page.ts';
import { command, go, rowsOf } from '../show/command.ts';
import type { Conductor } from '../show/conductor.ts';
import { propsOf, type ShowControl } from '../show/show-file.ts';

/** How often it is tried whether the broker lets the conductor command (ms). */
const TRY_EVERY_MS = 10_000;

/** A show as its page needs it. */
export interface Stage {
  /** What every page is shown: a `ShownShow` as JSON. @throws PageRefusal where there is nothing to show */
  read(): Promise<string>;
  /** @throws PageRefusal where nobody knows what became of it */
  carryOut(asked: ShowPageCommand): Promise<ShowPageAnswer>;
  /** Whether one of the pages has the right to start cues. */
  control(has: boolean): void;
}

interface Parts {
  conductor: Conductor;
  /** Asked each time: what is known of the show may change. */
  control: () => ShowControl;
  /** Why the broker is away; undefined where it is there. */
  brokerProblem: () => string | undefined;
  /** What the conductor is called at the broker. */
  user: string;
}

/** A show by its conductor, in this thread. */
export class ConductedStage implements Stage {
  readonly #parts: Parts;
  #triedMs = Number.NEGATIVE_INFINITY;

  constructor(parts: Parts) {
    this.#parts = parts;
  }

  async read(): Promise<string> {
    const { conductor, brokerProblem, user } = this.#parts;
    const control = this.#parts.control();
    const broker = brokerProblem() ?? null;
    this.#tryRights(broker === null);
    const shown: ShownShow = {
      show: control.name,
      broker,
      rights: broker === null ? missingRights(conductor, user) : null,
      props: rowsOf(control, conductor).map(shownProp),
      groups: Object.keys(control.groups),
    };
    return JSON.stringify(shown);
  }

  #tryRights(isConnected: boolean): void {
    const { conductor } = this.#parts;
    if (!isConnected) this.#triedMs = Number.NEGATIVE_INFINITY;
    else if (conductor.nowMs - this.#triedMs > TRY_EVERY_MS) {
      this.#triedMs = conductor.nowMs;
      conductor.tryRights();
    }
  }

  control(has: boolean): void {
    this.#parts.conductor.offerTime(has);
  }

  async carryOut(asked: ShowPageCommand): Promise<ShowPageAnswer> {
    const { conductor } = this.#parts;
    const control = this.#parts.control();
    const { act, target } = asked;
    const props = propsOf(control, target);
    const all = target === 'all';
    if (props.length === 0 && !all)
      return { ok: false, lines: [`the show has no prop or group ${target}`] };
    const { ok, lines } =
      act === 'go'
        ? await go(conductor, control, props, asked.cue)
        : await command(
            conductor,
            act === 'stop' ? { act, category: asked.category } : { act },
            props,
            all,
          );
    if (props.length > 0) return { ok, lines };
    return { ok: false, lines: [`${act}: no prop is known here, so none has answered`] };
  }
}

/** What the broker does not let a conductor do, and what to do about it. */
function missingRights(conductor: Conductor, user: string): string | null {
  const [topic] = conductor.barred;
  if (topic !== undefined)
    return `The broker does not let ${user} write to ${topic}, so Stop, Park and Go may do nothing here: use the switches at the props. To command from here, give ${user} the rights of a page in the broker's ACL (README, A prop in a show)`;
  if (conductor.hearsNothing)
    return `Nothing is heard of any prop: either none is connected, or the broker does not let ${user} read what they say; then give ${user} the rights of a page in the broker's ACL (README, A prop in a show)`;
  return null;
}

function shownProp({ prop, status, problems }: ReturnType<typeof rowsOf>[number]): ShownProp {
  return {
    prop,
    name: status?.name ?? '',
    here: status !== undefined,
    condition: status?.condition ?? '',
    armed: status?.armed ?? false,
    lockout: status?.lockout ?? false,
    runs: status?.runs ?? [],
    cues: status?.cues ?? [],
    problems: problems.filter((one) => one !== 'not armed'),
  };
}
