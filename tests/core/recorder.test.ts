import { describe, expect, test } from 'vitest';
import { fields } from '../../src/api/fields.ts';
import { METHODS } from '../../src/api/methods.ts';
import { LONGEST_TAKE_S, type Recording } from '../../src/core/recorder.ts';
import { TAKE_HZ } from '../../src/sums/take-points.ts';
import { Recorder as BoardRecorder, makeProp, Rig, relay, servo, sound, TICK_MS } from './rig.ts';

const prop = () =>
  makeProp(
    { neck: servo(), jaw: servo({ jerkDegS3: 6000 }), lid: servo(), fan: relay() },
    {
      cues: {
        look: [
          { at: 0, move: { neck: 30, jaw: 20 }, overS: 1, name: 'up' },
          { after: 'up', switch: { fan: 'on' } },
          { at: 2, move: { neck: 0, jaw: 0 } },
        ],
        nod: [{ at: 0, move: { jaw: 10 } }],
      },
    },
  );
const live = () => Rig.live(prop());

/** The recording, through the way that saving takes. */
const recorded = (rig: Rig): Recording => rig.core.recorder.mustHave();

/** The numbers (deg) of one channel. */
function samplesOf(rig: Rig, channel: string): number[] {
  const { channels, samples, count } = recorded(rig);
  const at = channels.indexOf(channel);
  return Array.from({ length: count }, (_, i) => samples[i * channels.length + at]!);
}

/** What was commanded, watched in every tick: the angle at each ms since then. */
function watch(rig: Rig, ...names: string[]) {
  const startMs = rig.clock.nowMs();
  const at = () => names.map((name) => rig.servo(name).setpoint.pos);
  const seen = new Map<number, number[]>([[0, at()]]);
  const before = rig.afterTick;
  rig.afterTick = () => {
    before?.();
    seen.set(Math.round(rig.clock.nowMs() - startMs), at());
  };
  return seen;
}

describe('what is recorded', () => {
  test('is the commanded motion 50 times a second, and not what was asked for', async () => {
    const { rig, client } = await live();
    await client.call('take.begin', { channels: ['neck', 'jaw'] });
    const seen = watch(rig, 'neck', 'jaw');
    for (let n = 0; n < 50; n++) {
      await client.call('channel.perform', { targets: { neck: n % 20 < 10 ? 40 : -40, jaw: 15 } });
      await rig.run(40);
    }
    const answer = await client.call('take.end');
    expect(answer).toMatchObject({ samples: 101, durationS: 2, channels: ['neck', 'jaw'] });
    const [neck, jaw] = [samplesOf(rig, 'neck'), samplesOf(rig, 'jaw')];
    expect(Math.max(...neck)).toBeGreaterThan(20);
    for (let i = 0; i <= 100; i++) {
      const [neckDeg, jawDeg] = seen.get(20 * i)!;
      expect(neck[i]).toBeCloseTo(neckDeg!, 4);
      expect(jaw[i]).toBeCloseTo(jawDeg!, 4);
    }
  });

  test('after ticks that came late has its samples at their times', async () => {
    const { rig, client } = await live();
    await client.call('take.begin', { channels: ['neck'] });
    const startMs = rig.clock.nowMs();
    await client.call('channel.move', { channel: 'neck', to: 40 });
    await rig.run(100);
    // Three ticks at once, then a long pause: motion goes on where it was after four.
    await rig.stall(15);
    await rig.run(100);
    await rig.stall(100);
    await rig.run(100);
    const samples = samplesOf(rig, 'neck');
    expect(samples.length).toBe(1 + Math.floor((rig.clock.nowMs() - startMs) / 20));
    // 120 deg/s and 20 ms: no sample is further from the last one than the speed allows.
    for (let i = 1; i < samples.length; i++)
      expect(samples[i]! - samples[i - 1]!).toBeLessThanOrEqual(2.4 + 1e-3);
  });

  test('ends by itself after its longest time, in memory that it had from the beginning', async () => {
    const { rig, client } = await live();
    await client.call('take.begin', { channels: ['neck'] });
    const { samples } = recorded(rig);
    expect(samples.length).toBe(1 + LONGEST_TAKE_S * TAKE_HZ);
    for (let s = 0; s < LONGEST_TAKE_S; s++) {
      for (let tick = 0; tick < 1000 / TICK_MS; tick++) {
        rig.signs();
        rig.clock.advance(TICK_MS);
      }
    }
    await rig.run(50);
    expect(recorded(rig).samples).toBe(samples);
    const answer = await client.call('take.end');
    expect(answer).toMatchObject({
      recording: false,
      durationS: LONGEST_TAKE_S,
      samples: samples.length,
      ended: 'a recording lasts 300 s at most',
    });
  });

  test('takes each servo once, and only servos', async () => {
    const { client } = await live();
    expect((await client.refused('take.begin', { channels: ['fan'] })).word).toBe(
      'channel.wrong-kind',
    );
    expect((await client.refused('take.begin', { channels: ['neck', 'nick'] })).word).toBe(
      'channel.unknown',
    );
    const { channels } = await client.call('take.begin', { channels: ['neck', 'jaw', 'neck'] });
    expect(channels).toEqual(['neck', 'jaw']);
  });
});

describe('what ends it', () => {
  const CASES = [
    ['a stop', 'stop', { category: 1 }, 'the prop is stopped'],
    ['parking', 'park', {}, 'the prop is parking'],
    ['the lease handed over', 'lease.release', { graceS: 10 }, 'desk released the lease'],
  ] as const;
  test.each(CASES)('%s; what was recorded stays, to be saved', async (_, method, params, why) => {
    const { rig, client } = await live();
    await client.call('take.begin', { channels: ['neck'] });
    await client.call('channel.move', { channel: 'neck', to: 30 });
    await rig.run(500);
    await client.call(method, params as never);
    await rig.run(300);
    const { count } = recorded(rig);
    expect(count).toBe(26);
    await rig.run(500);
    expect(recorded(rig)).toMatchObject({ count, ended: why });
    expect(rig.texts('take')).toEqual(['records neck', `the recording ends after 0.5 s: ${why}`]);
    await client.call('lease.take');
    await client.call('take.save', { name: 'wave' });
    expect(rig.editor.saved).toEqual(['wave']);
    expect((await client.call('take.read')).saved).toBe('wave');
  });

  test('a lost link; whoever takes over may save it', async () => {
    const { rig, client } = await live();
    await client.call('take.begin', { channels: ['neck'] });
    client.silent = true;
    await rig.run(1500);
    expect(recorded(rig).ended).toBe('control was lost');
    const other = rig.client('other');
    await other.call('lease.take');
    await other.call('take.save', { name: 'rest' });
    expect(rig.editor.saved).toEqual(['rest']);
  });

  test('a fault of the core', async () => {
    const { rig, client } = await live();
    await client.call('take.begin', { channels: ['neck'] });
    await rig.run(100);
    rig.core.fail(new Error('on purpose'));
    await rig.run(100);
    expect(recorded(rig)).toMatchObject({ count: 6, ended: 'the prop is faulted' });
  });

  test('not a second beginning: that is refused, and one after the end takes its place', async () => {
    const { rig, client } = await live();
    await client.call('take.begin', { channels: ['neck'] });
    await rig.run(100);
    const refusal = await client.refused('take.begin', { channels: ['jaw'], over: 'look' });
    expect([refusal.word, refusal.values.who]).toEqual(['take.running', 'desk']);
    expect(rig.core.cues.anyRunning).toBe(false);
    expect((await client.refused('take.save', { name: 'early' })).word).toBe('take.running');
    await client.call('take.end');
    // Ended twice is as good as once.
    expect((await client.call('take.end')).samples).toBe(6);
    await client.call('take.begin', { channels: ['jaw'] });
    expect(recorded(rig)).toMatchObject({ channels: ['jaw'], count: 1 });
  });

  test('another session cannot end, begin or save one, but sees how it stands', async () => {
    const { rig, client } = await live();
    await client.call('take.begin', { channels: ['neck'] });
    const guest = rig.client('guest');
    for (const method of ['take.end', 'take.begin', 'take.save'] as const)
      expect((await guest.refused(method, { channels: ['jaw'], name: 'x' } as never)).word).toBe(
        'lease.held',
      );
    await rig.run(1000);
    expect(await guest.call('take.read')).toEqual({
      ...{ recording: true, samples: 51, durationS: 1, channels: ['neck'] },
    });
  });

  test('nothing recorded: nothing to end or save, and reading says so', async () => {
    const { client } = await live();
    for (const method of ['take.end', 'take.save'] as const)
      expect((await client.refused(method, { name: 'x' } as never)).word).toBe('take.nothing');
    expect(await client.call('take.read')).toEqual({
      ...{ recording: false, samples: 0, durationS: 0, channels: [] },
    });
  });
});

describe('over a cue', () => {
  test('the cue runs from the first sample on, and leaves what is performed alone', async () => {
    const { rig, client } = await live();
    await client.call('take.begin', { channels: ['jaw'], over: 'look' });
    const seen = watch(rig, 'neck');
    expect(rig.core.cues.isRunning('look')).toBe(true);
    for (let n = 0; n < 40; n++) {
      await client.call('channel.perform', { targets: { jaw: -10 } });
      await rig.run(40);
    }
    // The cue goes on, though one of its channels is performed.
    expect(rig.core.cues.isRunning('look')).toBe(true);
    expect(rig.servo('neck').setpoint.pos).toBe(30);
    expect(rig.servo('jaw').setpoint.pos).toBe(-10);
    expect(Math.max(...samplesOf(rig, 'jaw'))).toBe(0);
    expect(rig.texts('cue')).toEqual([
      'cue look runs',
      'cue look leaves jaw to desk, who performs it',
    ]);
    // What comes after the step waits as long as the whole of it takes.
    expect(rig.on('fan')).toBe(true);
    // The take and the cue begin at the same moment: the neck has moved after the first tick.
    expect(seen.get(5)![0]).toBeGreaterThan(0);
    await client.call('take.end');
    expect(rig.core.cues.isRunning('look')).toBe(false);
    expect(recorded(rig).over).toBe('look');
  });

  test('what was left out of a step still takes its time', async () => {
    const { rig, client } = await live();
    await client.call('take.begin', { channels: ['jaw', 'neck'], over: 'look' });
    await rig.run(980);
    expect(rig.on('fan')).toBe(false);
    await rig.run(40);
    expect(rig.on('fan')).toBe(true);
  });

  test('a channel that is performed and not recorded ends the cue, as any command by hand', async () => {
    const { rig, client } = await live();
    await client.call('take.begin', { channels: ['jaw'], over: 'look' });
    await client.call('channel.perform', { targets: { neck: 5 } });
    expect(rig.core.cues.isRunning('look')).toBe(false);
    expect(recorded(rig).ended).toBeUndefined();
  });

  test('a cue that was stopped: its servos stand, and those performed go on', async () => {
    const { rig, client } = await live();
    await client.call('take.begin', { channels: ['jaw'], over: 'look' });
    await client.call('channel.perform', { targets: { jaw: -30 } });
    await rig.run(100);
    await client.call('cue.stop', { cue: 'look' });
    expect(rig.servo('jaw').targetDeg).toBe(-30);
    expect(rig.servo('neck').targetDeg).toBeLessThan(30);
  });

  test('afterwards the channels are the cues own again', async () => {
    const { rig, client } = await live();
    await client.call('take.begin', { channels: ['jaw'], over: 'look' });
    await rig.run(100);
    await client.call('take.end');
    await client.call('cue.run', { cue: 'nod', wait: false });
    await rig.run(1000);
    expect(rig.servo('jaw').setpoint.pos).toBe(10);
  });

  test('an unknown cue: nothing begins, and the last recording stays', async () => {
    const { rig, client } = await live();
    await client.call('take.begin', { channels: ['jaw'] });
    await rig.run(200);
    await client.call('take.end');
    expect((await client.refused('take.begin', { channels: ['neck'], over: 'lok' })).word).toBe(
      'cue.unknown',
    );
    expect(recorded(rig)).toMatchObject({ channels: ['jaw'], count: 11 });
  });
});

/** A sound device that is asked 0.2 s before. */
class Speaker extends BoardRecorder {
  readonly leadS = 0.2;
}

describe('over a sound', () => {
  const voiced = async () => {
    const speaker = new Speaker();
    const channels = { neck: servo(), fan: relay(), voice: sound({ requires: [QUIET] }) };
    const cues = { call: [{ at: 0, sound: { voice: 'hoot' } }] };
    const live = await Rig.live(makeProp(channels, { cues }), { drivers: { main: speaker } });
    return { ...live, speaker };
  };
  const QUIET = { channel: 'fan', is: 'off' };
  const playing = ({ value }: Speaker) => value.get('voice.play')! % 4096;
  const by = { channel: 'voice', sound: 'purr' };

  test('time 0 of the take is when the sound is heard, not when it is asked for', async () => {
    const { rig, client, speaker } = await voiced();
    const begun = await client.call('take.begin', {
      channels: ['neck'],
      sound: { ...by, volume: 0.5 },
    });
    expect(begun).toMatchObject({ sound: by, beginsInS: 0.2 });
    const seen = watch(rig, 'neck');
    await client.call('channel.move', { channel: 'neck', to: 20, overS: 1 });
    await rig.run(1200);
    expect(playing(speaker)).toBe(2);
    expect(speaker.value.get('voice.delay')).toBeCloseTo(200, 6);
    expect(await client.call('take.end')).toMatchObject({ sound: by, samples: 51, durationS: 1 });
    for (const [i, deg] of samplesOf(rig, 'neck').entries())
      expect(deg, `${i}`).toBeCloseTo(seen.get(200 + 20 * i)![0]!, 4);
    expect(rig.texts('take')[0]).toBe('records neck while voice plays purr');
    // What was started for it ends with it.
    await rig.run(1500);
    expect(playing(speaker)).toBe(0);
  });

  test('a cue whose sound is asked for before begins the take with its own time 0', async () => {
    const { rig, client } = await voiced();
    expect(await client.call('take.begin', { channels: ['neck'], over: 'call' })).toMatchObject({
      beginsInS: 0.2,
    });
    await rig.run(600);
    expect(recorded(rig).count).toBe(21);
  });

  test('one that ends before the sound is heard has where the servos stood', async () => {
    const { rig, client } = await voiced();
    await client.call('take.begin', { channels: ['neck'], sound: by });
    await rig.run(100);
    expect(await client.call('take.end')).toMatchObject({ samples: 1, durationS: 0 });
  });

  test('another sound by then goes on when the recording ends', async () => {
    const { rig, client, speaker } = await voiced();
    await client.call('take.begin', { channels: ['neck'], sound: by });
    await rig.run(300);
    await client.call('sound.play', { channel: 'voice', sound: 'hoot' });
    await client.call('take.end');
    await rig.run(700);
    expect(playing(speaker)).toBe(1);
  });

  test('what is refused begins nothing: no such sound, an interlock, a cue as well, a second one', async () => {
    const { rig, client, speaker } = await voiced();
    const refused = async (params: object) =>
      (await client.refused('take.begin', { channels: ['neck'], ...params } as never)).word;
    expect(await refused({ sound: { ...by, sound: 'pur' } })).toBe('sound.unknown');
    expect(await refused({ sound: { ...by, channel: 'neck' } })).toBe('channel.wrong-kind');
    expect(
      METHODS['take.begin']
        .params(fields())
        .safeParse({ channels: ['neck'], over: 'call', sound: by }).error?.issues[0]?.message,
    ).toBe('give a cue (over) or a sound, not both');
    await client.call('channel.switch', { channel: 'fan', on: true });
    await rig.tick();
    expect(await refused({ sound: by })).toBe('interlock.unmet');
    expect(rig.core.recorder.recording).toBeUndefined();
    await client.call('channel.switch', { channel: 'fan', on: false });
    await rig.run(500);
    await client.call('take.begin', { channels: ['neck'] });
    expect(await refused({ sound: by })).toBe('take.running');
    await rig.tick();
    expect(playing(speaker)).toBe(0);
  });
});
