import { lightWeights, PropFlashGuard } from '../sums/flash.ts';
import { type Rgb, srgbToLinear } from '../sums/light.ts';
import { kindOf } from './kinds/registry.ts';
import type { CueStep, Prop } from './schema.ts';

/** The limit of WCAG 2.2, success criterion 2.3.1, and a value that means no limit. */
const MAX_FLASHES = 3;
const NO_LIMIT = 1000;
/** Most events of a cue that are judged; a longer one is judged by its beginning. */
const MAX_EVENTS = 20_000;

/** A light that changes from one value (sRGB, or a lamp's lightness three times) to another. */
interface Fade {
  from: Rgb;
  to: Rgb;
  startS: number;
  endS: number;
}

interface Event {
  atS: number;
  name: string;
  fade: Fade;
  by: CueStep;
}

/** Too many flashes in a second, as planned. */
export interface FlashProblem {
  by: CueStep;
  atS: number;
  flashes: number;
}

/** The weight of each light of a prop; lights without a limit are left out. */
export function lightsOf(prop: Prop): ReadonlyMap<string, number> {
  const lights = Object.entries(prop.channels).flatMap(([name, channel]) => {
    const glow = kindOf(channel).glow(channel);
    return !glow || glow.unrestricted || prop.flash ? [] : [{ name, weight: glow.weight }];
  });
  const weights = lightWeights(lights.map(({ weight }) => weight));
  return new Map(lights.map(({ name }, i) => [name, weights[i]!]));
}

/**
 * All light of the prop together along the plan of a cue, judged as by the core's guard, at the starts
 * and ends of fades.
 */
export class PlannedLight {
  readonly #prop: Prop;
  readonly #weights: ReadonlyMap<string, number>;
  readonly #events: Event[] = [];

  constructor(prop: Prop, weights: ReadonlyMap<string, number>) {
    this.#prop = prop;
    this.#weights = weights;
  }

  /** Adds a light's change from one value to another; a relay changes between black and white. */
  fade(name: string, from: Rgb, to: Rgb, startS: number, endS: number, by: CueStep): void {
    if (!this.#weights.has(name) || this.#events.length >= MAX_EVENTS) return;
    const fade = { from, to, startS, endS };
    this.#events.push({ atS: startS, name, fade, by });
    if (endS > startS && Number.isFinite(endS)) this.#events.push({ atS: endS, name, fade, by });
  }

  /** The first place where the plan would flash too often, and the count in its worst second. */
  problem(parked: (name: string) => Rgb): FlashProblem | undefined {
    // A cue of a few steps cannot flash too often.
    if (this.#events.length <= 2 * MAX_FLASHES) return undefined;
    const guard = new PropFlashGuard(NO_LIMIT);
    const fades = new Map<string, Fade>();
    let first: Pick<FlashProblem, 'by' | 'atS'> | undefined;
    let flashes = 0;
    const show = (atS: number): void => {
      guard.at.fill(0);
      guard.at[0] = atS;
      for (const [name, weight] of this.#weights)
        this.#add(name, weight, fades.get(name), atS, parked, guard.at);
      guard.force();
    };
    show(0);
    const events = this.#events.sort((a, b) => a.atS - b.atS);
    for (const [i, { atS, name, fade, by }] of events.entries()) {
      if (fade.startS === atS) {
        const before = fades.get(name);
        fades.set(name, { ...fade, from: before ? valueAt(before, atS) : fade.from });
      }
      if (events[i + 1]?.atS === atS) continue;
      show(atS);
      const now = Math.floor(Math.max(guard.generalChanges, guard.colourChanges) / 2);
      if (now > MAX_FLASHES) first ??= { by, atS };
      flashes = Math.max(flashes, now);
    }
    return first && { ...first, flashes };
  }

  #add(
    name: string,
    weight: number,
    fade: Fade | undefined,
    atS: number,
    parked: (name: string) => Rgb,
    into: Float64Array,
  ): void {
    const { red, green, blue } = fade ? valueAt(fade, atS) : parked(name);
    const linear = kindOf(this.#prop.channels[name]!).light?.linear ?? srgbToLinear;
    into[1]! += weight * linear(red);
    into[2]! += weight * linear(green);
    into[3]! += weight * linear(blue);
  }
}

/** Linear from one to the other: only the ends of a fade matter. */
function valueAt({ from, to, startS, endS }: Fade, atS: number): Rgb {
  const share = atS >= endS ? 1 : Math.max(0, (atS - startS) / (endS - startS));
  return {
    red: from.red + (to.red - from.red) * share,
    green: from.green + (to.green - from.green) * share,
    blue: from.blue + (to.blue - from.blue) * share,
  };
}
