import type { CueHint } from '../prop/cue-hints.ts';
import { Refusal } from '../shared/errors.ts';
import type { View } from './state.ts';

/**
 * What many clients ask for all the time, answered without the core. What does not change from tick to
 * tick is written once for each version of the prop; what is live is put in from the telemetry.
 */
export class Lists {
  readonly #view: View;
  #made: Texts | undefined;

  constructor(view: View) {
    this.#view = view;
  }

  /** `channel.list` as JSON, with what every command that was answered before has done. */
  async channels(): Promise<string> {
    const view = this.#view;
    await view.caughtUp();
    view.refresh();
    if (!view.shows)
      throw new Refusal(
        'core.no-tick',
        'the core has shown no tick since the prop file changed; ask again in a second',
      );
    return this.#texts().channels(view);
  }

  /** `cue.list` as JSON. */
  async cues(): Promise<string> {
    const view = this.#view;
    await view.caughtUp();
    // The tick may have ended a cue: the message about that is on its way now.
    await new Promise<void>((resume) => setImmediate(resume));
    return this.#texts().cues(view);
  }

  /** `board.list` as JSON. */
  boards(): string {
    return this.#texts().boards;
  }

  /** `sense.list` as JSON. */
  senses(): string {
    const view = this.#view;
    view.refresh();
    const states = view.senses();
    const { senses: infos = [] } = view.prop;
    const senses = infos.map(({ name, ...info }) => [name, { ...info, ...states[name] }]);
    return JSON.stringify({ senses: Object.fromEntries(senses), rails: view.rails() });
  }

  #texts(): Texts {
    if (this.#made?.generation !== this.#view.generation) this.#made = new Texts(this.#view);
    return this.#made;
  }
}

function usesText(uses: CueHint | undefined): string {
  return uses ? `"uses":${JSON.stringify(uses)},` : '';
}

/** The texts of one version of the prop. */
class Texts {
  readonly generation: number;
  readonly boards: string;
  /** `"beak":{"kind":"servo",...` of every channel, up to what is live. */
  readonly #heads: string[];
  readonly #tail: string;
  /** Name and duration of each cue: `"wake":{"durationS":3.2`. */
  readonly #cues: [name: string, head: string][];
  readonly #idle: [name: string, head: string][];
  readonly #triggers: string;
  readonly #show: string;
  /** The channels as they were listed last, and the state that each was made from. */
  readonly #listed: string[] = [];
  readonly #from: string[] = [];
  #list: string | undefined;
  #cueList: { running: object; text: string } | undefined;

  constructor({ generation, prop }: View) {
    this.generation = generation;
    const { channels, info, groups, poses, boards, cueDurationsS, cueHints, idle, triggers } = prop;
    const { show } = prop;
    this.#heads = channels.map(
      ({ name }) => `${JSON.stringify(name)}:${JSON.stringify(info[name] ?? {}).slice(0, -1)}`,
    );
    this.#tail = `},"groups":${JSON.stringify(groups)},"poses":${JSON.stringify(poses)}}`;
    this.boards = JSON.stringify({ boards });
    this.#cues = Object.entries(cueDurationsS).map(([name, durationS]) => [
      name,
      `${JSON.stringify(name)}:{"durationS":${JSON.stringify(durationS)},${usesText(cueHints?.[name])}"running":`,
    ]);
    this.#idle = idle.map((name) => [name, `${JSON.stringify(name)}:{"running":`]);
    this.#triggers = JSON.stringify(triggers);
    this.#show = show ? `,"show":${JSON.stringify(show.name)}` : '';
  }

  channels({ texts, states }: View): string {
    let same = this.#list !== undefined;
    for (const [i, text] of texts.entries()) {
      if (this.#from[i] === text) continue;
      same = false;
      this.#from[i] = text;
      const { value, target, flags, pulseUs, pushing, measuredDeg } = states[i]!;
      const live = JSON.stringify({ value, target, flags, pulseUs, pushing, measuredDeg });
      this.#listed[i] = `${this.#heads[i]},${live.slice(1)}`;
    }
    if (!same) this.#list = `{"channels":{${this.#listed.join(',')}${this.#tail}`;
    return this.#list!;
  }

  cues(view: View): string {
    const { running } = view;
    if (this.#cueList?.running !== running) {
      const { cues, idle, armed } = running;
      const runs = new Set(cues);
      const cueTexts = this.#cues.map(([name, head]) => {
        const startedS = runs.has(name) ? view.startedS(name) : undefined;
        return `${head}${runs.has(name)}${startedS === undefined ? '' : `,"startedS":${startedS}`}}`;
      });
      const idleTexts = this.#idle.map(([name, head]) => `${head}${name === idle}}`);
      const text = `{"cues":{${cueTexts.join(',')}},"idle":{${idleTexts.join(',')}},"triggers":{"names":${this.#triggers},"armed":${armed}}${this.#show}}`;
      this.#cueList = { running, text };
    }
    return this.#cueList.text;
  }
}
