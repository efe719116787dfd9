import type { Params, Result } from '../api/methods.ts';
import type { Recording } from '../core/recorder.ts';
import type { Edit } from '../prop/edit-text.ts';
import type { Author } from '../prop/file/status.ts';
import { didYouMean } from '../prop/finding.ts';
import { servoOf } from '../prop/kinds/channel.ts';
import { degIn } from '../prop/kinds/servo.ts';
import { softLimits } from '../prop/mechanics.ts';
import { valueAt } from '../prop/schema-remarks.ts';
import { Refusal } from '../shared/errors.ts';
import { tidy } from '../shared/units.ts';
import { readSound, soundProblem } from '../sound/read-sound.ts';
import type { Keeper } from './keeper.ts';
import type { PlannerPort } from './planner.ts';
import type { Takes } from './takes.ts';

/** A saved point may be that far from the curve (deg). */
const TOLERANCE_DEG = 0.3;

/** The take that was made of a sound's loudness. */
interface Followed {
  take?: string;
  digest?: string;
}

/** Answers about the sounds beside the prop file, and makes servos follow them. */
export class Sounds {
  readonly #keeper: Keeper;
  readonly #planner: PlannerPort;
  readonly #takes: Takes;

  constructor(keeper: Keeper, planner: PlannerPort, takes: Takes) {
    this.#keeper = keeper;
    this.#planner = planner;
    this.#takes = takes;
  }

  /** How loud a sound is over time. @throws Refusal `sound.unknown`, `sound.unreadable` */
  async read({ sound }: Params<'sound.read'>, session: string): Promise<object> {
    const bytes = await this.#bytes(sound);
    return this.#planner.ask(session, { about: 'loudness', name: sound, bytes });
  }

  /** @throws Refusal; neither the prop file nor what is beside it has changed then */
  async follow(params: Params<'sound.follow'>, by: Author): Promise<Result<'sound.follow'>> {
    const { sound, channel, shut, open, version } = params;
    const bytes = await this.#bytes(sound);
    const { channels } = this.#keeper.inUse.loaded.prop;
    const spec = servoOf(Object.hasOwn(channels, channel) ? channels[channel] : undefined);
    if (!spec)
      throw new Refusal('channel.wrong-kind', `${channel} is not a servo of the prop; name one`, {
        channel,
      });
    const limitsDeg = softLimits(spec);
    const at = (to: number | string): number => {
      const deg = degIn(spec, to);
      if (deg === undefined)
        throw new Refusal(
          'mark.unknown',
          `${channel} has no mark ${to}; give one of its marks, or degrees`,
          { channel, mark: to },
        );
      if (deg < limitsDeg[0] || deg > limitsDeg[1])
        throw new Refusal(
          'limits.outside',
          `${tidy(deg)} deg is outside the limits of ${channel}, ${tidy(limitsDeg[0])} to ${tidy(limitsDeg[1])} deg`,
          { channel, value: deg, limitsDeg: [...limitsDeg] },
        );
      return deg;
    };
    const { floorLufs, rangeLu, attackS, releaseS } = params;
    const how = {
      channel,
      shutDeg: at(shut),
      openDeg: at(open),
      floorLufs,
      rangeLu,
      attackS,
      releaseS,
    };
    const recording = (await this.#planner.ask(by.session, {
      about: 'follow',
      name: sound,
      bytes,
      how,
    })) as Recording;
    const { name, isOwn } = this.#takeFor(sound, channel);
    const kept = { shut, open, floorLufs, rangeLu, attackS, releaseS, take: name };
    const saved = await this.#takes.save(
      recording,
      {
        name,
        replace: isOwn,
        toleranceDeg: TOLERANCE_DEG,
        ...(version !== undefined && { version }),
      },
      by,
      (digest) => [this.#followEdit(sound, channel, { ...kept, digest })],
    );
    const { file, points, durationS, version: next, pending } = saved;
    return { take: name, file, points, durationS, version: next, pending };
  }

  /** The take that was made of this sound before, where nobody has changed it since; or another name. */
  #takeFor(sound: string, channel: string): { name: string; isOwn: boolean } {
    const before = this.#entry(sound).follow?.[channel];
    if (before?.take !== undefined && this.#takes.isAsMade(before.take, before.digest))
      return { name: before.take, isOwn: true };
    const takes = Object.keys(valueAt(this.#keeper.rawOnDisk, ['takes']) ?? {});
    const first = `${sound}_${channel}`.slice(0, 60);
    let name = first;
    for (let n = 2; takes.includes(name); n++) name = `${first}_${n}`;
    return { name, isOwn: false };
  }

  #followEdit(sound: string, channel: string, value: object): Edit {
    const { file, follow } = this.#entry(sound);
    return { path: ['sounds', sound], value: { file, follow: { ...follow, [channel]: value } } };
  }

  /** What the prop file on the disk says of a sound. */
  #entry(sound: string): { file: string; follow?: Record<string, Followed> } {
    const entries = valueAt(this.#keeper.rawOnDisk, ['sounds']) ?? {};
    const entry = valueAt(entries, [sound]) as string | { file: string } | undefined;
    if (entry === undefined) throw unknownSound(sound, Object.keys(entries));
    return typeof entry === 'string' ? { file: entry } : entry;
  }

  /** @throws Refusal `sound.unknown`, `sound.unreadable` */
  async #bytes(sound: string): Promise<Uint8Array> {
    const { soundFiles = {} } = this.#keeper.inUse.loaded.prop;
    const found = Object.hasOwn(soundFiles, sound) ? soundFiles[sound] : undefined;
    if (!found) throw unknownSound(sound, Object.keys(soundFiles));
    const { path, file } = found;
    try {
      return Uint8Array.from(await readSound(path));
    } catch (error) {
      const { wrong, right } = soundProblem(error as Error);
      throw new Refusal('sound.unreadable', `${file}: ${wrong}; ${right}`, { sound });
    }
  }
}

function unknownSound(sound: string, names: readonly string[]): Refusal {
  const reason = `there is no sound ${sound}; ${didYouMean(sound, names)}`;
  return new Refusal('sound.unknown', reason, { sound });
}
