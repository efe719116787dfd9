import type { Params, Result } from '../api/methods.ts';
import type { Recording } from '../core/recorder.ts';
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
    const name = `${sound}_${channel}`.slice(0, 60);
    const saved = await this.#takes.save(
      recording,
      {
        name,
        replace: true,
        toleranceDeg: TOLERANCE_DEG,
        ...(version !== undefined && { version }),
      },
      by,
    );
    const entry = valueAt(this.#keeper.rawOnDisk, ['sounds', sound]);
    const file = typeof entry === 'string' ? entry : (entry as { file: string }).file;
    const before = typeof entry === 'object' ? (entry as { follow?: object }).follow : undefined;
    const kept = { shut, open, floorLufs, rangeLu, attackS, releaseS };
    const value = { file, follow: { ...before, [channel]: kept } };
    const edits = [{ path: ['sounds', sound], value }];
    const applied = await this.#keeper.apply({ edits }, saved.version, by);
    return {
      take: name,
      file: saved.file,
      points: saved.points,
      durationS: saved.durationS,
      version: applied.version,
      pending: applied.pending,
    };
  }

  /** @throws Refusal `sound.unknown`, `sound.unreadable` */
  async #bytes(sound: string): Promise<Uint8Array> {
    const { soundFiles = {} } = this.#keeper.inUse.loaded.prop;
    const found = Object.hasOwn(soundFiles, sound) ? soundFiles[sound] : undefined;
    if (!found)
      throw new Refusal(
        'sound.unknown',
        `there is no sound ${sound}; ${didYouMean(sound, Object.keys(soundFiles))}`,
        { sound },
      );
    const { path, file } = found;
    try {
      return Uint8Array.from(await readSound(path));
    } catch (error) {
      const { wrong, right } = soundProblem(error as Error);
      throw new Refusal('sound.unreadable', `${file}: ${wrong}; ${right}`, { sound });
    }
  }
}
