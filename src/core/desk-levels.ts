import { Refusal } from '../shared/errors.ts';
import { plain } from '../shared/plain.ts';
import type { Actuator } from './actuators.ts';
import type { Gate } from './gate.ts';
import { armedHolder, degAt, type OutsideHost, OutsideRefusals } from './led-from-outside.ts';
import { type Lamp, Light, type RgbLight } from './light.ts';

/** Who leads, in the journal. */
const WHO = 'E1.31';
/** Lights take this long (s) from level to level, so that the steps of a desk's fade are not seen. */
const SMOOTH_S = 0.05;
/** A light that was refused is tried again after this (s). */
const RETRY_S = 1;
/** No message for so long (s): the gateway has died, and with it the desk's levels are lost. */
const SILENCE_S = 1;

interface DeskHost extends OutsideHost {
  readonly gate: Gate;
  readonly condition: string;
  byHand(channels: ReadonlySet<Actuator>, who: string): void;
}

/** A light that is led. */
interface LedLight {
  /** The levels that it was given last; undefined where the next ones count whatever they are. */
  given: readonly number[] | undefined;
  /** Its count of fades then: one more means that something else has it now. */
  fades: number;
  /** When it was refused last (s). */
  refusedS: number;
}

/**
 * The levels of a lighting desk. The newest command counts: a level that stays takes nothing back from a
 * cue or a hand, a level that changes does. Lights follow while the prop is live. A servo follows as with
 * OSC, only while somebody has control and has armed it, and only from the first change on: what stood at
 * the desk before moves nothing.
 */
export class DeskLevels {
  readonly #core: DeskHost;
  readonly #refusals: OutsideRefusals;
  readonly #lights = new Map<string, LedLight>();
  /** By servo: its last level. */
  readonly #servos = new Map<string, number>();
  #sources = '';
  #heardS = 0;

  constructor(core: DeskHost) {
    this.#core = core;
    this.#refusals = new OutsideRefusals(core, WHO);
  }

  /**
   * Takes all levels that sources give now, 0 to 1, by channel; null where they disagree on a servo. What is
   * missing is led no longer.
   */
  hear(
    levels: Readonly<Record<string, readonly number[] | null>>,
    sources: readonly string[] = [],
  ): void {
    const { map = {} } = this.#core.prop.e131 ?? {};
    this.#core.catchUp();
    this.#heardS = this.#core.nowS;
    this.#note(sources);
    const lost = [...this.#lights.keys()].filter((name) => !Object.hasOwn(levels, name));
    if (lost.length > 0) this.#lose(lost);
    for (const name of this.#servos.keys())
      if (!Object.hasOwn(levels, name)) this.#servos.delete(name);
    for (const [name, given] of Object.entries(levels)) {
      // The prop file may have changed since it was heard.
      if (!Object.hasOwn(map, name)) continue;
      const actuator = this.#core.body.find(name);
      try {
        if (actuator instanceof Light) this.#light(actuator, given!);
        else this.#servo(name, given);
      } catch (error) {
        if (!(error instanceof Refusal)) throw error;
        this.#refusals.tell(name, error, { channel: name });
      }
    }
  }

  /** Once a tick: without the gateway, nobody tells that the sources are lost. */
  tick(): void {
    if (this.#sources === '' || this.#core.nowS - this.#heardS < SILENCE_S) return;
    this.hear({});
  }

  #note(sources: readonly string[]): void {
    const names = sources.map((name) => plain(name).trim() || 'without a name').join(', ');
    if (names === this.#sources) return;
    this.#sources = names;
    this.#core.journal.fold(WHO, 'desk', names ? `levels come from ${names}` : 'levels are lost', {
      sources,
    });
  }

  #light(light: Lamp | RgbLight, levels: readonly number[]): void {
    const { condition, nowS, gate } = this.#core;
    const led = this.#lights.get(light.name) ?? {
      given: undefined,
      fades: -1,
      refusedS: Number.NEGATIVE_INFINITY,
    };
    this.#lights.set(light.name, led);
    if (condition !== 'live') led.given = undefined;
    const stays = led.given && levels.every((level, i) => level === led.given![i]);
    if (condition !== 'live' || stays || nowS < led.refusedS + RETRY_S) return;
    try {
      this.#core.mustBeLive();
      light.lead(gate, levels, SMOOTH_S);
    } catch (error) {
      led.refusedS = nowS;
      throw error;
    }
    this.#core.byHand(new Set([light]), WHO);
    Object.assign(led, { given: levels, fades: light.fades, refusedS: Number.NEGATIVE_INFINITY });
  }

  /** Lights that nothing else has taken since go where the file says. */
  #lose(names: readonly string[]): void {
    const { prop, body, gate, condition, journal } = this.#core;
    const { onLoss = 'park', lossFadeS = 0 } = prop.e131 ?? {};
    const gone: string[] = [];
    for (const name of names) {
      const { fades } = this.#lights.get(name)!;
      this.#lights.delete(name);
      const light = body.find(name);
      if (onLoss !== 'park' || condition !== 'live') continue;
      if (!(light instanceof Light) || light.fades !== fades) continue;
      try {
        light.leadHome(gate, lossFadeS);
        gone.push(name);
      } catch (error) {
        if (!(error instanceof Refusal)) throw error;
        this.#refusals.tell(name, error, { channel: name });
      }
    }
    if (gone.length > 0)
      journal.add(WHO, 'desk', `no levels any more for ${gone.join(', ')}: back in ${lossFadeS} s`);
  }

  #servo(name: string, given: readonly number[] | null): void {
    const { body, performer, prop } = this.#core;
    const led = prop.e131!.map[name]!;
    if (!led.allowMotion) return;
    if (given === null) {
      this.#servos.delete(name);
      throw new Refusal(
        'desk.two-sources',
        'two sources of the same priority give it different levels',
        { channel: name },
      );
    }
    const level = given[0]!;
    const servo = body.servo(name);
    const was = this.#servos.get(name);
    this.#servos.set(name, level);
    const changed = was !== undefined && was !== level;
    if (!changed && performer.leaderOf(servo) !== WHO) return;
    performer.lead(
      { servo, targetDeg: degAt(servo, led, level) },
      armedHolder(this.#core, WHO),
      WHO,
    );
  }
}
