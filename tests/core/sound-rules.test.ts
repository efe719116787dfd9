import { describe, expect, test } from 'vitest';
import { makeProp, Rig, relay, servo, sound } from './rig.ts';

const prop = (requires: object[]) =>
  makeProp({
    voice: sound({ board: 'main', fadeOutS: 0.5, requires }),
    beak: servo(),
    fan: relay(),
  });

describe('an interlock of a sound', () => {
  test('that stops being met silences it within a tick, and the reason is in the journal', async () => {
    const { rig, client } = await Rig.live(prop([{ channel: 'fan', is: 'on' }]));
    await client.call('channel.switch', { channel: 'fan', on: true });
    await rig.tick();
    await client.call('sound.play', { channel: 'voice', sound: 'purr' });
    await rig.run(300);
    const voice = rig.core.body.sound('voice');
    expect([voice.playing, rig.at('voice.play') % 4096, rig.at('voice.gain') > 0]).toEqual([
      'purr',
      2,
      true,
    ]);
    // Opened past the gate, as its duty guard or a failed board would.
    rig.core.body.relay('fan').set(false);
    await rig.tick();
    expect([voice.playing, rig.at('voice.play'), rig.at('voice.gain')]).toEqual([undefined, 0, 0]);
    expect(rig.texts('interlock')).toEqual([
      expect.stringMatching(/^voice fell silent: it needs fan/),
    ]);
    const { flags } = (await client.call('channel.list')).channels.voice!;
    expect(flags).toContain('interlocked');
    // It does not come back by itself, and is refused as long as it is not met.
    await client.call('channel.switch', { channel: 'fan', on: true });
    await rig.run(500);
    expect(rig.at('voice.play')).toBe(0);
    await client.call('sound.play', { channel: 'voice', sound: 'hoot' });
    await rig.tick();
    expect(voice.interlocked).toBe(false);
  });

  test('silences what has been asked for and is not heard yet, and the tone of identify', async () => {
    const { rig, client } = await Rig.live(prop([{ channel: 'beak', below: 10 }]));
    const voice = rig.core.body.sound('voice');
    const { gate } = rig.core;
    gate.play(voice, 'hoot', 1, rig.core.nowS + 1);
    await rig.tick();
    rig.servo('beak').standAt(30);
    await rig.tick();
    expect(voice.playing).toBeUndefined();
    await rig.run(1500);
    expect(rig.at('voice.play')).toBe(0);
    rig.servo('beak').standAt(0);
    await client.call('channel.identify', { channel: 'voice' });
    await rig.tick();
    expect(rig.at('voice.gain')).toBeGreaterThan(0);
    rig.servo('beak').standAt(30);
    await rig.tick();
    expect([rig.at('voice.play'), rig.at('voice.gain')]).toEqual([0, 0]);
  });

  test('a move that would break it is refused while it plays', async () => {
    const { rig, client } = await Rig.live(prop([{ channel: 'beak', below: 10 }]));
    await client.call('sound.play', { channel: 'voice', sound: 'purr' });
    await rig.tick();
    expect((await client.refused('channel.move', { channel: 'beak', to: 20 })).word).toBe(
      'interlock.needed',
    );
    await rig.run(2500);
    await client.call('channel.move', { channel: 'beak', to: 20 });
  });
});

describe('a sound that was started by hand', () => {
  const playing = async () => {
    const both = await Rig.live(prop([]));
    await both.client.call('sound.play', { channel: 'voice', sound: 'purr' });
    await both.rig.run(200);
    return { ...both, voice: both.rig.core.body.sound('voice') };
  };

  test('fades out when control is given back', async () => {
    const { rig, client, voice } = await playing();
    await client.call('lease.release', {});
    await rig.run(250);
    expect(voice.value).toBeLessThan(0.6);
    await rig.run(600);
    expect(voice.rests).toBe(true);
  });

  test('goes on in a time of grace, and fades out when somebody else takes control', async () => {
    const { rig, client, voice } = await playing();
    await client.call('lease.release', { graceS: 30 });
    await rig.run(250);
    expect(voice.value).toBe(1);
    const guest = rig.client('guest');
    await guest.call('lease.take');
    await rig.run(250);
    expect(voice.value).toBeLessThan(0.6);
    await rig.run(600);
    expect(voice.rests).toBe(true);
  });

  test('goes on for the one who comes back', async () => {
    const { rig, client, voice } = await playing();
    await client.call('lease.release', { graceS: 30 });
    await client.call('lease.take');
    await rig.run(500);
    expect(voice.value).toBe(1);
  });

  test('fades out with the park at the end of the grace', async () => {
    const { rig, client, voice } = await playing();
    await client.call('lease.release', { graceS: 0.5 });
    await rig.run(1500);
    expect(voice.rests).toBe(true);
  });

  test('is cut with a lost link', async () => {
    const { rig, client, voice } = await playing();
    client.silent = true;
    await rig.until(() => voice.rests, 1);
    expect(rig.at('voice.gain')).toBe(0);
  });
});
