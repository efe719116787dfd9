import { describe, expect, test } from 'vitest';
import { makeProp, Recorder, Rig, relay, servo, sound, TICK_MS } from './rig.ts';

/** A sound device that is asked 0.12 s before. */
class Speaker extends Recorder {
  leadS = 0;
  effectS = 0;
  readonly said: string[] = [];
  news(): string | undefined {
    return this.said.shift();
  }
}

const voice = (over: object = {}) => sound({ board: 'main', ceiling: 0.4, fadeOutS: 0.5, ...over });

const prop = (cues: object = {}, over: object = {}, channels: object = {}) =>
  makeProp(
    { voice: voice(over), beak: servo(), fan: relay(), ...channels },
    { cues, link: { timeoutMs: 500, onLoss: 'park' } },
  );

async function live(of = prop(), leadS = 0) {
  const speaker = new Speaker();
  speaker.leadS = leadS;
  const { rig, client } = await Rig.live(of, { drivers: { main: speaker } });
  return { rig, client, speaker };
}

/** The number of what plays: hoot is 1, purr is 2, silence 0. */
const playing = ({ value }: Recorder) => value.get('voice.play')! % 4096;
const gain = ({ value }: Recorder) => value.get('voice.gain')!;

describe('playing by hand', () => {
  test('a sound has the ceiling of its channel at full volume, and ends by itself', async () => {
    const { rig, client, speaker } = await live();
    expect(await client.call('sound.play', { channel: 'voice', sound: 'hoot' })).toEqual({
      durationS: 1,
    });
    await rig.tick();
    expect([playing(speaker), gain(speaker)]).toEqual([1, 0.4]);
    const info = (await client.call('channel.list')).channels.voice!;
    expect(info.value).toBe(1);
    await rig.run(1000);
    expect(rig.core.body.sound('voice').rests).toBe(true);
    expect(gain(speaker)).toBe(0);
  });

  test('a file that has another length by now plays that long', async () => {
    const { rig, client, speaker } = await live();
    const { body } = rig.core;
    const { soundFiles } = body.prop;
    const hoot = { ...soundFiles!.hoot!, durationS: 3 };
    body.prop = { ...body.prop, soundFiles: { ...soundFiles, hoot } };
    expect(await client.call('sound.play', { channel: 'voice', sound: 'hoot' })).toEqual({
      durationS: 3,
    });
    await rig.run(2900);
    expect(playing(speaker)).toBe(1);
    await rig.run(200);
    expect(rig.core.body.sound('voice').rests).toBe(true);
  });

  test('the same sound again is another start', async () => {
    const { rig, client, speaker } = await live();
    await client.call('sound.play', { channel: 'voice', sound: 'hoot' });
    await rig.tick();
    const first = speaker.value.get('voice.play');
    await client.call('sound.play', { channel: 'voice', sound: 'hoot', volume: 0.5 });
    await rig.tick();
    expect(speaker.value.get('voice.play')).not.toBe(first);
    expect([playing(speaker), gain(speaker)]).toEqual([1, 0.2]);
  });

  test('what is no sound, and a volume beyond 1, are refused, and nothing plays', async () => {
    const { rig, client, speaker } = await live();
    const refused = await client.refused('sound.play', { channel: 'voice', sound: 'hot' });
    expect([refused.word, refused.message]).toEqual([
      'sound.unknown',
      'there is no sound hot; did you mean hoot?',
    ]);
    const wrong = await client.refused('sound.play', { channel: 'beak', sound: 'hoot' });
    expect(wrong.word).toBe('channel.wrong-kind');
    await rig.tick();
    expect(playing(speaker)).toBe(0);
  });

  test('fading out takes its time, evenly, and then the board is silent', async () => {
    const { rig, client, speaker } = await live();
    await client.call('sound.play', { channel: 'voice', sound: 'purr' });
    await rig.run(200);
    await client.call('sound.stop', { channel: 'voice' });
    await rig.run(250);
    expect(gain(speaker)).toBeCloseTo(0.2, 2);
    await rig.run(250 + TICK_MS);
    expect(gain(speaker)).toBe(0);
    await rig.run(100);
    expect(playing(speaker)).toBe(0);
  });

  test('the amplifier counts on its rail, and an interlock that is broken silences it', async () => {
    const { rig, client, speaker } = await live(
      prop({}, { requires: [{ channel: 'fan', is: 'off' }] }),
    );
    await client.call('sound.play', { channel: 'voice', sound: 'purr' });
    await rig.tick();
    expect(playing(speaker)).toBe(2);
    const refused = await client.refused('channel.switch', { channel: 'fan', on: true });
    expect(refused.message).toContain('voice plays a sound and needs fan off; silence voice first');
    await client.call('sound.stop', { channel: 'voice' });
    await rig.run(700);
    await client.call('channel.switch', { channel: 'fan', on: true });
    await rig.tick();
    expect((await client.refused('sound.play', { channel: 'voice', sound: 'hoot' })).word).toBe(
      'interlock.unmet',
    );
  });

  test('it is found by a tone', async () => {
    const { rig, client, speaker } = await live();
    await client.call('channel.identify', { channel: 'voice' });
    await rig.tick();
    expect([playing(speaker), gain(speaker)]).toEqual([4095, 0.4]);
  });
});

describe('ends', () => {
  const sounding = async () => {
    const one = await live();
    await one.client.call('sound.play', { channel: 'voice', sound: 'purr' });
    await one.rig.run(100);
    expect(playing(one.speaker)).toBe(2);
    return one;
  };

  test.each([0, 1, 2] as const)(
    'a stop of category %d silences within a tick',
    async (category) => {
      const { rig, client, speaker } = await sounding();
      await client.call('stop', { category });
      await rig.tick();
      expect([playing(speaker), gain(speaker)]).toEqual([0, 0]);
    },
  );

  test('a lost link silences within the timeout and a tick', async () => {
    const { rig, client, speaker } = await sounding();
    client.silent = true;
    await rig.run(500 + 2 * TICK_MS);
    expect([playing(speaker), gain(speaker)]).toEqual([0, 0]);
    expect(rig.condition).toBe('parked');
  });

  test('a lockout silences within a tick', async () => {
    const { rig, client, speaker } = await sounding();
    await client.call('lockout.set', { reason: 'hands in' });
    await rig.tick();
    expect([playing(speaker), gain(speaker)]).toEqual([0, 0]);
  });

  test('a board that fails silences the others', async () => {
    const speaker = new Speaker();
    const other = new Recorder();
    const two = makeProp(
      { voice: voice(), beak: servo({ board: 'legs' }) },
      { boards: { main: { driver: 'sim' }, legs: { driver: 'sim' } } },
    );
    const { rig, client } = await Rig.live(two, { drivers: { main: speaker, legs: other } });
    await client.call('sound.play', { channel: 'voice', sound: 'purr' });
    await rig.tick();
    other.failing.write = new Error('gone');
    await client.call('channel.move', { channel: 'beak', to: 20 });
    await rig.run(20);
    expect(rig.condition).toBe('faulted');
    expect([playing(speaker), gain(speaker)]).toEqual([0, 0]);
  });

  test('park fades it out, and is over when it is silent', async () => {
    const { rig, client, speaker } = await sounding();
    await client.call('park');
    await rig.run(250);
    expect(rig.condition).toBe('parking');
    expect(gain(speaker)).toBeGreaterThan(0.1);
    await rig.run(500);
    expect([playing(speaker), gain(speaker)]).toEqual([0, 0]);
    expect(rig.condition).toBe('parked');
  });
});

describe('in a cue', () => {
  const cues = {
    hoots: [
      { at: 0, sound: { voice: 'hoot' }, volume: 0.5, name: 'first' },
      { at: 0.5, move: { beak: 20 } },
      { after: 'first', at: 0.3, sound: { voice: 'purr' } },
    ],
  };

  /** Times at which a sound starts to be heard, from when `cue.run` was answered (ms), and its number. */
  const starts = (speaker: Speaker, fromMs: number) => {
    const found: [number, number][] = [];
    let delayMs = 0;
    for (const { ms, output, value } of speaker.writes) {
      if (output === 'voice.delay') delayMs = value;
      if (output === 'voice.play' && value % 4096 !== 0 && ms > fromMs)
        found.push([Math.round(ms + delayMs - fromMs), value % 4096]);
    }
    return found;
  };

  test('each sound is heard at its time, and a step lasts as long as its sound', async () => {
    const { rig, client, speaker } = await live(prop(cues));
    const fromMs = rig.clock.nowMs();
    await client.call('cue.run', { cue: 'hoots' });
    await rig.run(4000);
    const [first, second] = starts(speaker, fromMs);
    expect(first).toEqual([TICK_MS, 1]);
    expect(second![0]).toBeGreaterThanOrEqual(1300);
    expect(second![0]).toBeLessThanOrEqual(1300 + 3 * TICK_MS);
    expect(rig.texts('cue')).toContain('voice plays hoot');
    expect(rig.texts('cue').at(-1)).toBe('cue hoots is over');
  });

  test('with a device that is asked before, the sound still has its time beside the other steps', async () => {
    const { rig, client, speaker } = await live(prop(cues), 0.12);
    const fromMs = rig.clock.nowMs();
    const moves: number[] = [];
    rig.afterTick = () => {
      if (rig.servo('beak').moving) moves.push(rig.clock.nowMs() - fromMs);
    };
    await client.call('cue.run', { cue: 'hoots' });
    await rig.run(4000);
    const [first, second] = starts(speaker, fromMs);
    expect(first).toEqual([120, 1]);
    // Every step is 0.12 s later, the move included.
    expect(Math.abs(moves[0]! - 620)).toBeLessThanOrEqual(TICK_MS);
    expect(Math.abs(second![0] - 1420)).toBeLessThanOrEqual(3 * TICK_MS);
    // It was asked for that long before.
    const asked = speaker.writes.filter(
      ({ output, value }) => output === 'voice.play' && value % 4096 === 2,
    );
    expect(asked[0]!.ms - fromMs).toBeLessThanOrEqual(1420 - 110);
  });

  test('a cue that is stopped fades its sound, and takes back what has not started', async () => {
    const { rig, client, speaker } = await live(prop(cues), 0.12);
    await client.call('cue.run', { cue: 'hoots' });
    await rig.run(50);
    expect(playing(speaker)).toBe(1);
    await client.call('cue.stop', { cue: 'hoots' });
    await rig.run(800);
    expect([playing(speaker), gain(speaker)]).toEqual([0, 0]);
  });

  test('what fades in is silent when it begins to be heard, and at its volume once the fade is over', async () => {
    const fading = prop({ swell: [{ at: 0, sound: { voice: 'purr' }, fadeS: 0.5 }] });
    const { rig, client, speaker } = await live(fading, 0.2);
    speaker.effectS = 0.12;
    const fromMs = rig.clock.nowMs();
    await client.call('cue.run', { cue: 'swell' });
    // By the time at which it is heard: 0.12 s later than it is written.
    const heard = new Map<number, number>();
    rig.afterTick = () => {
      heard.set(Math.round(rig.clock.nowMs() - fromMs + 120), gain(speaker));
    };
    await rig.run(1000);
    for (const [ms, share] of [
      [200, 0],
      [325, 0.25],
      [450, 0.5],
      [700, 1],
    ] as const)
      expect(heard.get(ms)! / 0.4, `${ms} ms`).toBeCloseTo(share, 1);
  });

  test('off fades out what plays', async () => {
    const { rig, client, speaker } = await live(
      prop({
        hush: [
          { at: 0, sound: { voice: 'purr' } },
          { at: 0.5, sound: { voice: 'off' } },
        ],
      }),
    );
    await client.call('cue.run', { cue: 'hush' });
    await rig.run(700);
    expect(gain(speaker)).toBeGreaterThan(0);
    await rig.run(500);
    expect([playing(speaker), gain(speaker)]).toEqual([0, 0]);
    expect(rig.core.cues.anyRunning).toBe(false);
  });
});

test('what the device reports is in the journal, and is no fault', async () => {
  const { rig, speaker } = await live();
  speaker.said.push('sound device default does not play');
  await rig.run(2 * TICK_MS);
  expect(rig.texts('sound')).toEqual(['sound device default does not play']);
  expect(rig.condition).toBe('live');
});
