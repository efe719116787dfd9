import { mkdtemp, rm, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterEach, beforeEach, describe, expect, test } from 'vitest';
import { VirtualClock } from '../../src/shared/clock.ts';
import { Refusal } from '../../src/shared/errors.ts';
import { FakeDaemon, run, start, until } from './fake-daemon.ts';

let daemon: FakeDaemon;
beforeEach(async () => {
  daemon = await FakeDaemon.start();
});
afterEach(() => daemon.stop());

const HANDED_OVER = 'lease handed over; the prop parks in 30 s unless someone takes it\n';

describe('a single command', () => {
  test('takes the lease, waits for the motion, hands over and says so', async () => {
    const { code, out, err } = await run(['move', 'beak', 'open'], daemon);
    expect({ code, err }).toEqual({ code: 0, err: '' });
    expect(out).toBe(`beak moved to 30 deg in 0.3 s\n${HANDED_OVER}`);
    expect(daemon.methods).toEqual(['channel.list', 'lease.take', 'channel.move', 'lease.release']);
    expect(daemon.called('channel.move')).toEqual([{ channel: 'beak', to: 'open', wait: true }]);
    expect(daemon.called('lease.release')).toEqual([{ graceS: 30 }]);
  });

  test('--wake wakes a parked prop first', async () => {
    daemon.condition = 'parked';
    const { code } = await run(['move', 'beak', '-3', '--over', '2', '--wake'], daemon);
    expect(code).toBe(0);
    expect(daemon.methods).toEqual([
      'channel.list',
      'lease.take',
      'wake',
      'channel.move',
      'lease.release',
    ]);
    expect(daemon.called('wake')).toEqual([{ wait: true }]);
    expect(daemon.called('channel.move')).toEqual([
      { channel: 'beak', to: -3, overS: 2, wait: true },
    ]);
  });

  test('--wake waits for a parking prop to be parked', async () => {
    daemon.condition = 'parking';
    expect((await run(['pose', 'asleep', '--wake'], daemon)).code).toBe(0);
    expect(daemon.methods).toEqual([
      'channel.list',
      'lease.take',
      'park',
      'wake',
      'pose.go',
      'lease.release',
    ]);
  });

  test('--wake is not sent to a prop that is live', async () => {
    await run(['pose', 'asleep', '--wake'], daemon);
    expect(daemon.methods).toEqual(['channel.list', 'lease.take', 'pose.go', 'lease.release']);
  });

  test('without --wake a parked prop is left alone', async () => {
    daemon.condition = 'parked';
    const { code, out, err } = await run(['pose', 'asleep'], daemon);
    expect({ code, out }).toEqual({ code: 1, out: '' });
    expect(err).toBe('sinew: the prop is parked; add --wake\n');
    expect(daemon.methods).toEqual(['channel.list']);
  });

  describe('where servos stand nobody knows where', () => {
    const LINES = [['wake'], ['move', 'beak', '-3', '--wake']];
    beforeEach(() => {
      daemon.condition = 'parked';
      daemon.unknown = ['neck', 'jaw'];
    });

    test.each(LINES)(
      'a script is refused, names them and says what it needs: %s',
      async (...line) => {
        const { code, err } = await run(line, daemon);
        expect(code).toBe(1);
        expect(err).toMatch(
          /nobody knows where these servos stand: neck, jaw; .*hands clear.*add --confirm-unknown/,
        );
        expect(daemon.condition).toBe('parked');
      },
    );

    test('a daemon of an earlier version gives its reason alone', async () => {
      daemon.isEarlier = true;
      const { code, err } = await run(['wake'], daemon);
      expect(code).toBe(1);
      expect(err).toMatch(/wake with confirm: "unknown", then add --confirm-unknown/);
    });

    test.each(LINES)('--confirm-unknown wakes them: %s', async (...line) => {
      expect((await run([...line, '--confirm-unknown'], daemon)).code).toBe(0);
      expect(daemon.called('wake').at(-1)).toEqual({ wait: true, confirm: 'unknown' });
    });

    test.each(LINES)('on a terminal a person is asked, and yes wakes them: %s', async (...line) => {
      const running = start(line, daemon, { tty: true });
      await until(() => running.stderr.text.includes('Wake? [y/N] '));
      expect(running.stderr.text).toContain(
        'nobody knows where these servos stand: neck, jaw; they move one at a time',
      );
      expect(daemon.condition).toBe('parked');
      running.stdin.write('y\n');
      expect(await running.exit).toBe(0);
      expect(daemon.unknown).toEqual([]);
    });

    test.each(['n\n', '\n', 'yikes\n', ''])(
      'any other answer wakes nothing: %j',
      async (answer) => {
        const running = start(['wake'], daemon, { tty: true });
        await until(() => running.stderr.text.includes('Wake? [y/N] '));
        if (answer) running.stdin.write(answer);
        else running.stdin.end();
        expect(await running.exit).toBe(1);
        expect(running.stderr.text).toContain('nothing was done');
        expect(daemon.called('wake')).toEqual([{ wait: true }]);
      },
    );

    test('Ctrl-C at the question stops, and wakes nothing', async () => {
      const running = start(['wake'], daemon, { tty: true });
      await until(() => running.stderr.text.includes('Wake? [y/N] '));
      running.interrupt();
      expect(await running.exit).toBe(1);
      expect(daemon.condition).toBe('stopped');
      expect(daemon.called('wake')).toEqual([{ wait: true }]);
    });
  });

  describe("somebody else's stop", () => {
    beforeEach(() => {
      daemon.condition = 'stopped';
      daemon.stoppedBy = 'stop button';
    });

    test('a script is refused, and told whom it must name', async () => {
      const { code, err } = await run(['reset'], daemon);
      expect(code).toBe(1);
      expect(err).toContain(
        "stop button stopped the prop; see that it is safe, then reset --confirm 'stop button'",
      );
      expect(daemon.condition).toBe('stopped');
    });

    test('--confirm names them', async () => {
      expect((await run(['reset', '--confirm', 'stop button'], daemon)).code).toBe(0);
      expect(daemon.called('reset')).toEqual([{ confirm: 'stop button' }]);
    });

    test.each([
      ['y\n', 0],
      ['n\n', 1],
    ])('on a terminal a person is asked: %j', async (answer, code) => {
      const running = start(['reset'], daemon, { tty: true });
      await until(() => running.stderr.text.includes('Reset? [y/N] '));
      running.stdin.write(answer);
      expect(await running.exit).toBe(code);
      expect(daemon.condition).toBe(code === 0 ? 'parked' : 'stopped');
    });
  });

  test('a lease held by another refuses it, naming the holder', async () => {
    daemon.holder = 'ben@desk';
    const { code, err } = await run(['move', 'beak', '3'], daemon);
    expect(code).toBe(1);
    expect(err).toBe('sinew: ben@desk holds the lease; ask there, or wait\n');
    expect(daemon.methods).toEqual(['channel.list', 'lease.take']);
  });

  test('a refused move hands over all the same', async () => {
    const { code, out, err } = await run(['move', 'beak', '90'], daemon);
    expect({ code, out }).toEqual({ code: 1, out: '' });
    expect(err).toBe(`sinew: beak cannot go to 90 deg (limit 35)\n${HANDED_OVER}`);
    expect(daemon.methods.at(-1)).toBe('lease.release');
  });

  test('--grace 0 parks at once', async () => {
    const { out } = await run(['move', 'beak', '3', '--grace', '0'], daemon);
    expect(out).toMatch(/\nlease released; the prop parks\n$/);
    expect(daemon.called('lease.release')).toEqual([{ graceS: 0 }]);
  });

  test('a group moves as one', async () => {
    const { out } = await run(['move', 'tail', 'up'], daemon);
    expect(out).toMatch(/^tail moved to up in 0.4 s\n/);
    expect(daemon.called('group.move')).toEqual([{ group: 'tail', to: 'up', wait: true }]);
  });

  test.each([
    [['move', 'baek', '3'], 'channel or group baek; did you mean beak?'],
    [['move', 'tial', '3'], 'channel or group tial; did you mean tail?'],
    [['pose', 'aslep'], 'pose aslep; did you mean asleep?'],
    [['pose', 'toString'], 'pose toString; use one of asleep, alert'],
  ])(
    'a name that is not there is refused before anything is taken or woken: %j',
    async (argv, reason) => {
      daemon.condition = 'parked';
      const { code, out, err } = await run([...argv, '--wake'], daemon);
      expect({ code, out }).toEqual({ code: 1, out: '' });
      expect(err).toBe(`sinew: there is no ${reason}\n`);
      expect(daemon.methods).toEqual(['channel.list']);
    },
  );

  test.each([
    [['jog', 'beak', '-0.5'], 'channel.jog', { channel: 'beak', byDeg: -0.5 }],
    [
      ['jog', 'beak', '8', '--us', '--beyond-limits'],
      'channel.jog',
      { channel: 'beak', byUs: 8, beyondLimits: true },
    ],
    [['switch', 'mist', 'on'], 'channel.switch', { channel: 'mist', on: true }],
    [['switch', 'mist', 'off'], 'channel.switch', { channel: 'mist', on: false }],
    [
      ['colour', 'eye_left', '#ff8800', '--fade', '0.5'],
      'channel.colour',
      { channel: 'eye_left', to: '#ff8800', fadeS: 0.5 },
    ],
    [['dim', 'lantern', '0.4'], 'channel.dim', { channel: 'lantern', to: 0.4 }],
    [['identify', 'beak'], 'channel.identify', { channel: 'beak' }],
  ])('%j follows the state and hands over', async (argv, method, params) => {
    const { code, err } = await run(argv, daemon);
    expect({ code, err }).toEqual({ code: 0, err: '' });
    expect(daemon.methods).toEqual(['lease.take', 'state.follow', method, 'lease.release']);
    expect(daemon.called(method)).toEqual([params]);
  });

  test('a motion without an answer at its end is followed to its end', async () => {
    let standing: unknown;
    daemon.handlers['lease.release'] = () => {
      const { value, flags } = daemon.channels.beak!;
      standing = { value, flags };
      return { holder: null };
    };
    await run(['jog', 'beak', '2'], daemon);
    expect(standing).toEqual({ value: 2, flags: [] });
  });

  test('switch --for hands over only when the time is up', async () => {
    let on: unknown;
    daemon.handlers['lease.release'] = () => {
      on = daemon.channels.mist!.value;
      return { holder: null };
    };
    const { out } = await run(['switch', 'mist', 'on', '--for', '2'], daemon);
    expect(on).toBe(false);
    expect(out).toMatch(/^mist on for 2 s\n/);
  });

  test('a stop meanwhile ends the wait for the motion', async () => {
    daemon.handlers['channel.jog'] = () => {
      daemon.channels.beak!.flags = ['moving'];
      daemon.condition = 'stopped';
      return { target: 2, pulseUs: 1500, limited: false };
    };
    const { code, err } = await run(['jog', 'beak', '2'], daemon);
    expect(code).toBe(1);
    expect(err).toMatch(/^sinew: the prop is now stopped\nlease released; the prop is stopped\n$/);
  });

  test.each([
    [['wake'], ['lease.take', 'wake', 'lease.release'], 'the prop is live\n'],
    [['reset'], ['lease.take', 'reset', 'lease.release'], 'the prop is parked\n'],
    [
      ['mark', 'beak', 'ajar'],
      ['lease.take', 'mark.capture', 'lease.release'],
      'mark ajar of beak is 12.5 deg, 1639 us; written to the prop file\n',
    ],
    [
      ['limit', 'beak', 'high'],
      ['lease.take', 'limits.capture', 'lease.release'],
      'limits of beak are -5 to 12.5 deg; written to the prop file\n',
    ],
    [
      ['rest', 'beak'],
      ['lease.take', 'park.capture', 'lease.release'],
      'beak parks at 12.5 deg; written to the prop file\n',
    ],
    [
      ['rest', 'beak', 'open'],
      ['lease.take', 'park.capture', 'lease.release'],
      'beak parks at open, 30 deg; written to the prop file\n',
    ],
    [
      ['undo'],
      ['lease.take', 'capture.undo', 'lease.release'],
      'channels.beak.park.to is shut again, no longer open; written to the prop file\n',
    ],
    [['find', 'W07'], ['loom.find'], 'W07  beak  24 AWG  0.6 m\n'],
    [['park'], ['park'], 'the prop is parked\n'],
    [['stop'], ['stop'], 'the prop is stopped (category 1); reset before it moves again\n'],
    [['status'], ['state.follow', 'channel.list'], 'Test owl: live\nlease: free\n'],
    [['journal'], ['journal.read'], '7  2026-01-01T00:00:00.000Z  ann  lease  took it\n'],
  ])('%j makes these calls: %j', async (argv, methods, beginning) => {
    const { code, out } = await run(argv, daemon);
    expect(code).toBe(0);
    expect(daemon.methods).toEqual(methods);
    expect(out.startsWith(beginning), out).toBe(true);
  });

  test('park waits; stop passes its category on; both need no lease', async () => {
    daemon.holder = 'ben@desk';
    expect((await run(['park'], daemon)).code).toBe(0);
    expect((await run(['stop', '0'], daemon)).code).toBe(0);
    expect(daemon.called('park')).toEqual([{ wait: true }]);
    expect(daemon.called('stop')).toEqual([{ category: 0 }]);
  });

  test('lockout and unlock need no lease; a reason may be several words', async () => {
    daemon.holder = 'ben@desk';
    const lock = { by: 'ann@desk', reason: 'freeing the beak', time: '2026-01-01T00:00:00.000Z' };
    daemon.handlers['lockout.set'] = () => ({ lockout: lock });
    daemon.handlers['lockout.clear'] = ({ force }) => ({ lockout: force ? null : lock });
    expect((await run(['lockout'], daemon)).out).toMatch(/until "sinew unlock"/);
    await run(['lockout', 'freeing', 'the', 'beak'], daemon);
    expect((await run(['unlock'], daemon)).out).toMatch(/hands in the prop: ann@desk \(freeing/);
    const forced = await run(['unlock', '--force', 'I looked'], daemon);
    expect(forced).toMatchObject({ code: 0, out: 'the lockout is cleared\n' });
    expect(daemon.called('lockout.set')).toEqual([{}, { reason: 'freeing the beak' }]);
    expect(daemon.called('lockout.clear')).toEqual([{}, { force: true, reason: 'I looked' }]);
  });

  test('rest passes the mark on, where there is one', async () => {
    await run(['rest', 'beak'], daemon);
    await run(['rest', 'beak', 'open'], daemon);
    expect(daemon.called('park.capture')).toEqual([
      { channel: 'beak' },
      { channel: 'beak', mark: 'open' },
    ]);
  });

  test('with nothing to undo it says so', async () => {
    daemon.handlers['capture.undo'] = () => {
      throw new Refusal('capture.nothing', 'there is nothing to undo: nothing was captured');
    };
    const { code, out, err } = await run(['undo'], daemon);
    expect({ code, out }).toEqual({ code: 1, out: '' });
    expect(err).toMatch(/^sinew: there is nothing to undo: nothing was captured\n/);
  });

  test('find shows each wire with its cores, aligned', async () => {
    const { code, out } = await run(['find', ''], daemon);
    expect(code).toBe(0);
    expect(out.split('\n')).toEqual([
      'W07  beak     24 AWG    0.6 m',
      '  signal  YE    J1-12   -> SV3-1',
      '  plus    RD    TB1-2   -> SV3-2',
      'W12  lantern  0.25 mm2',
      '  plus    WHBU  TB2-10  -> L1-1',
      '',
    ]);
  });

  test('find sends all its words as one text', async () => {
    await run(['find', 'plus', 'RD'], daemon);
    expect(daemon.called('loom.find')).toEqual([{ text: 'plus RD' }]);
  });

  // POSIX, grep, "EXIT STATUS": 1 when no line was selected.
  test('find that finds nothing says so and exits 1, as grep does', async () => {
    expect(await run(['find', 'W99'], daemon)).toEqual({
      code: 1,
      out: 'no wire matches "W99"\n',
      err: '',
    });
    const json = await run(['find', 'W99', '--json'], daemon);
    expect({ ...json, out: JSON.parse(json.out) }).toEqual({
      code: 1,
      out: { wires: [] },
      err: '',
    });
  });

  test('parked is said of a parked prop alone', async () => {
    daemon.condition = 'parked';
    daemon.notParked = 'nobody knows where beak stands';
    const said = 'at rest, not parked: nobody knows where beak stands\n';
    expect((await run(['status'], daemon)).out).toMatch(`Test owl: ${said}`);
    expect((await run(['park'], daemon)).out).toBe(`the prop is ${said}`);
    expect((await run(['reset'], daemon)).out).toMatch(`the prop is ${said}`);
    expect(JSON.parse((await run(['status', '--json'], daemon)).out)).toMatchObject({
      condition: 'parked',
      notParked: 'nobody knows where beak stands',
    });
  });

  test('status names what was not measured, and nothing else', async () => {
    expect((await run(['status'], daemon)).out).not.toContain('not measured');
    for (const [i, one] of Object.values(daemon.channels).entries())
      one.measured = { calibration: i === 0 ? '2026-11-26' : null };
    const names = Object.keys(daemon.channels).slice(1);
    const shown = names.slice(0, 8).join(', ');
    const more = names.length > 8 ? ` and ${names.length - 8} more` : '';
    const { out } = await run(['status'], daemon);
    expect(out.split('\n')).toContain(`not measured: calibration of ${shown}${more}`);
    const json = JSON.parse((await run(['status', '--json'], daemon)).out);
    expect(json.channels[names[0]!].measured).toEqual({ calibration: null });
  });

  test('status is an aligned table', async () => {
    const { out } = await run(['status'], daemon);
    const lines = out.split('\n');
    expect(lines[3]).toBe('channel   kind   value    target   limits deg  marks           flags');
    expect(lines[4]).toBe('beak      servo  0        0        -5 to 35    shut=0 open=30');
    expect(lines.slice(-3)).toEqual(['rail     amps  limit A', 'servo6v  0.53        5', '']);
    // A measured angle stands beside the commanded one, where one is measured.
    daemon.channels.beak!.measuredDeg = 2.3;
    const [head, row] = (await run(['status'], daemon)).out.split('\n').slice(3, 5);
    expect(head).toMatch(/^channel +kind +value +target +measured deg +limits deg/);
    expect(row).toMatch(/^beak +servo +0 +0 +2\.3 +-5 to 35/);
  });

  test('Ctrl-C stops the motion, holding it', async () => {
    daemon.handlers['channel.move'] = () => new Promise(() => {});
    const running = start(['move', 'beak', '30'], daemon);
    await until(() => daemon.methods.includes('channel.move'));
    running.interrupt();
    expect(await running.exit).toBe(1);
    expect(daemon.called('stop')).toEqual([{ category: 2 }]);
    expect(daemon.methods.at(-1)).toBe('lease.release');
    expect(running.stderr.text).toMatch(/sinew: interrupted: motion stopped \(stop category 2\)/);
  });

  test('a link lost on the way exits 3 and says what the prop does', async () => {
    daemon.handlers['channel.move'] = (_params, link) => {
      link.terminate();
      return new Promise(() => {});
    };
    const { code, out, err } = await run(['move', 'beak', '30'], daemon);
    expect({ code, out }).toEqual({ code: 3, out: '' });
    expect(err).toBe('sinew: link lost: the connection broke off; the prop parks itself\n');
  });

  test('a link lost while a jog is followed exits 3, too', async () => {
    daemon.handlers['channel.jog'] = (_params, link) => {
      setImmediate(() => link.terminate());
      return { target: 2, pulseUs: 1500, limited: false };
    };
    expect((await run(['jog', 'beak', '2'], daemon)).code).toBe(3);
  });

  test('the name, the token and the address reach the daemon', async () => {
    const folder = await mkdtemp(join(tmpdir(), 'sinew-'));
    const file = join(folder, 'token');
    await writeFile(file, 'c0ffee\n');
    const argv = ['park', '--name', 'bench', '--token-file', file, '--host', daemon.host];
    await run(argv, daemon, { SINEW_HOST: '127.0.0.1:1' });
    await run(['park'], daemon, { SINEW_TOKEN_FILE: file });
    expect(daemon.called('session.open')).toEqual([
      { client: 'bench', token: 'c0ffee' },
      { client: expect.stringMatching(/^ann@/), token: 'c0ffee' },
    ]);
    await rm(folder, { recursive: true });
  });
});

describe('cues', () => {
  beforeEach(() => {
    daemon.handlers['cue.list'] = () => ({
      cues: { wake: { running: false, durationS: 2 }, doze: { running: true, durationS: null } },
      idle: { awake: { running: true } },
      triggers: { names: ['button'], armed: false },
    });
    daemon.handlers['cue.run'] = async () => {
      await new Promise<void>((resolve) => daemon.clock.after(2000, resolve));
      return { running: false, durationS: 2 };
    };
    daemon.handlers['cue.stop'] = () => ({ running: false, durationS: 2 });
  });

  test('a cue is waited for', async () => {
    const startMs = daemon.clock.nowMs();
    let releasedAtMs = 0;
    daemon.handlers['lease.release'] = () => {
      releasedAtMs = daemon.clock.nowMs();
      return { holder: null };
    };
    const { code, out } = await run(['cue', 'wake'], daemon);
    expect(code).toBe(0);
    expect(out).toMatch(/^cue wake ran for \d+(\.\d)? s\n/);
    expect(daemon.called('cue.run')).toEqual([{ cue: 'wake', wait: true }]);
    expect(releasedAtMs - startMs).toBeGreaterThanOrEqual(2000);
  });

  test('a cue from a time in it, slower, in a loop; what is left out is said', async () => {
    const leftOut = ['mist: it was closed before'];
    daemon.handlers['cue.run'] = () => ({ running: false, durationS: 2, leftOut });
    const part = await run(['cue', 'wake', '--from', '1.5', '--rate', '0.5', '--loop'], daemon);
    expect(part.out).toContain('\nleft out: mist: it was closed before\n');
    expect(daemon.called('cue.run')).toEqual([
      { cue: 'wake', fromS: 1.5, rate: 0.5, loop: true, wait: true },
    ]);
    expect((await run(['cue', 'wake', '--rate', '2'], daemon)).code).toBe(2);
    expect((await run(['cue', '--list', '--loop'], daemon)).code).toBe(2);
  });

  test('list, stop, an unknown name, two things at once', async () => {
    expect((await run(['cue', '--list'], daemon)).out).toBe(
      [
        'cue   takes',
        'wake  2 s',
        'doze  until stopped  running',
        'idle behaviours: awake (running)',
        'triggers: button (not armed)',
        '',
      ].join('\n'),
    );
    expect(JSON.parse((await run(['cue', '--list', '--json'], daemon)).out)).toMatchObject({
      cues: { doze: { running: true, durationS: null } },
      triggers: { armed: false },
    });
    expect((await run(['cue', '--stop', 'wake'], daemon)).code).toBe(0);
    expect(daemon.called('cue.stop')).toEqual([{ cue: 'wake' }]);
    const unknown = await run(['cue', 'sleep'], daemon);
    expect(unknown).toMatchObject({
      code: 1,
      err: 'sinew: there is no cue sleep; use one of wake, doze\n',
    });
    expect((await run(['cue', 'wake', '--list'], daemon)).code).toBe(2);
    expect((await run(['cue'], daemon)).code).toBe(2);
  });

  test('a prop is armed for its show, with the lease, and disarmed without', async () => {
    daemon.handlers['show.arm'] = () => ({ armed: true });
    daemon.handlers['show.disarm'] = () => ({ armed: false });
    const armed = await run(['arm-show'], daemon);
    expect(armed.code).toBe(0);
    expect(armed.out).toContain('armed for the show: from now on it may wake and move');
    expect(daemon.called('lease.take')).toHaveLength(1);
    expect((await run(['disarm-show'], daemon)).out).toBe('disarmed for the show\n');
    expect(daemon.called('lease.take')).toHaveLength(1);
    expect(daemon.called('show.disarm')).toHaveLength(1);
  });

  test('at the prompt: idle behaviours, triggers, and a cue without an end', async () => {
    daemon.handlers['idle.start'] = ({ idle }) => ({ running: idle });
    daemon.handlers['idle.stop'] = () => ({ running: null });
    daemon.handlers['trigger.arm'] = ({ armed }) => ({ armed });
    const session = start(['session'], daemon);
    session.stdin.end('idle awake\nidle off\narm on\narm off\ncue doze\n');
    expect(await session.exit).toBe(0);
    expect(session.stdout.lines.slice(0, 5)).toEqual([
      'idle behaviour awake runs until idle off',
      'no idle behaviour',
      'triggers armed',
      'triggers disarmed',
      'cue doze runs until it is stopped',
    ]);
    expect(daemon.called('idle.start')).toEqual([{ idle: 'awake' }]);
    expect(daemon.called('trigger.arm')).toEqual([{ armed: true }, { armed: false }]);
    expect(daemon.called('cue.run')).toEqual([{ cue: 'doze', wait: false }]);
  });

  test('nothing is woken for a cue that does not exist', async () => {
    daemon.condition = 'parked';
    expect((await run(['cue', 'sleep', '--wake'], daemon)).code).toBe(1);
    expect(daemon.methods).toEqual(['cue.list']);
    expect(daemon.condition).toBe('parked');
  });
});

describe('--json', () => {
  test('a result is one object, with the handing over', async () => {
    const { out } = await run(['move', 'beak', 'open', '--json', '--grace', '5'], daemon);
    expect(out.trim().split('\n')).toHaveLength(1);
    expect(JSON.parse(out)).toEqual({ target: 30, durationS: 0.3, handedOver: { graceS: 5 } });
  });

  test('a refusal leaves stdout empty and is an object on stderr', async () => {
    const { code, out, err } = await run(['--json', 'move', 'beak', '90'], daemon);
    expect({ code, out }).toEqual({ code: 1, out: '' });
    expect(JSON.parse(err)).toEqual({
      error: {
        code: -32002,
        message: 'Out of limits',
        data: {
          code: 'limits.outside',
          reason: 'beak cannot go to 90 deg',
          channel: 'beak',
          value: 90,
          limit: 35,
        },
      },
    });
  });

  test.each([
    [['mvoe', '--json'], 2, -32602],
    [['park', '--json', '--host', '127.0.0.1:1'], 3, -32000],
    [['loom', 'a.yaml', '--json', '--format', 'csv'], 2, -32602],
  ])('%j: exit %i', async (argv, code, errorCode) => {
    const done = await run(argv, daemon);
    expect(done).toMatchObject({ code, out: '' });
    expect(JSON.parse(done.err)).toMatchObject({
      error: { code: errorCode, data: { reason: expect.any(String) } },
    });
  });

  test('find gives the wires as the daemon does', async () => {
    const { code, out } = await run(['find', 'W12', '--json'], daemon);
    expect(code).toBe(0);
    expect(JSON.parse(out)).toEqual({
      wires: [
        {
          label: 'W12',
          channel: 'lantern',
          sectionMm2: 0.25,
          cores: [{ role: 'plus', colour: 'WHBU', from: 'TB2-10', to: 'L1-1' }],
        },
      ],
    });
  });

  test('status and journal', async () => {
    expect(JSON.parse((await run(['status', '--json'], daemon)).out)).toMatchObject({
      prop: 'Test owl',
      condition: 'live',
      holder: null,
      channels: { beak: { kind: 'servo', limitsDeg: [-5, 35] } },
    });
    const journal = JSON.parse((await run(['journal', '--since', '6', '--json'], daemon)).out);
    expect(journal.entries.map(({ seq }: { seq: number }) => seq)).toEqual([7, 8]);
    expect(daemon.called('journal.read')).toEqual([{ since: 6, limit: 100 }]);
  });
});

describe('exit codes', () => {
  test('help and version: 0; wrong usage: 2, on stderr', async () => {
    const help = await run(['--help'], daemon);
    expect(help).toMatchObject({ code: 0, err: '' });
    expect(help.out).toMatch(/Exit code: 0 done/);
    expect(await run(['--version'], daemon)).toMatchObject({
      code: 0,
      out: expect.stringMatching(/^\d+\.\d+\.\d+\n$/),
    });
    expect(await run(['move', 'beak'], daemon)).toEqual({
      code: 2,
      out: '',
      err: "sinew: missing required argument 'to'\n",
    });
    expect((await run([], daemon)).code).toBe(2);
  });

  test('a wrong SINEW_HOST or an unreadable token file: 2', async () => {
    const wrong = await run(['park'], daemon, { SINEW_HOST: 'a:b' });
    expect(wrong).toMatchObject({ code: 2, err: expect.stringMatching(/SINEW_HOST is a:b/) });
    const missing = await run(['park', '--token-file', '/nowhere/token'], daemon);
    expect(missing).toMatchObject({ code: 2, err: expect.stringMatching(/token file: ENOENT/) });
    expect(daemon.calls).toEqual([]);
  });

  test('nobody listens: 3', async () => {
    const nobody = { host: '127.0.0.1:1', clock: new VirtualClock() };
    expect(await run(['stop'], nobody)).toEqual({
      code: 3,
      out: '',
      err: 'sinew: cannot reach the daemon at 127.0.0.1:1: connection refused; is sinewd running there?\n',
    });
  });
});

describe('check', () => {
  test('a missing file is a finding', async () => {
    const { code, out, err } = await run(['check', '/nowhere/owl.yaml'], daemon);
    expect({ code, err }).toEqual({ code: 1, err: '' });
    expect(out).toMatch(/^\/nowhere\/owl\.yaml:1:1: .*no such file.*\n1 finding\n$/);
  });

  test('findings are counted, in words and as JSON', async () => {
    const folder = await mkdtemp(join(tmpdir(), 'sinew-'));
    const file = join(folder, 'bad.yaml');
    await writeFile(file, 'sinew: 1\nname: X\nboards: {}\nchannels: {}\ncolour: red\nsize: 3\n');
    const { code, out } = await run(['check', file], daemon);
    expect(code).toBe(1);
    expect(out).toMatch(/:5:1: .*colour[\s\S]*:6:1: .*size[\s\S]*\n\d+ findings\n$/);
    const json = await run(['check', file, '--json'], daemon);
    expect(json.code).toBe(1);
    const { findings } = JSON.parse(json.out);
    expect(findings[0]).toMatchObject({ severity: 'error', line: 5, column: 1 });
    expect(daemon.calls).toEqual([]);
    await rm(folder, { recursive: true });
  });
});

describe('watch and journal --follow', () => {
  test('watch prints one line for each change and ends well by Ctrl-C', async () => {
    const running = start(['watch', '--hz', '20'], daemon);
    await until(() => running.stdout.text.includes('lantern'));
    daemon.condition = 'parking';
    daemon.channels.beak!.value = 12.3456;
    await until(() => running.stdout.text.includes('12.346'));
    running.interrupt();
    expect(await running.exit).toBe(0);
    expect(daemon.called('state.follow')).toEqual([{ hz: 20 }]);
    const printed = running.stdout.lines.map((line) => line.replace(/^[\d.]+ s {2}/, ''));
    expect(printed.slice(0, 2)).toEqual(['condition live', 'beak  0 -> 0']);
    expect(printed.slice(-2)).toEqual(['condition parking', 'beak  12.346 -> 0']);
    expect(printed).toHaveLength(1 + 6 + 1 + 2);
  });

  test('watch --json prints the notifications', async () => {
    const running = start(['watch', '--json'], daemon);
    await until(() => running.stdout.lines.length >= 2);
    running.interrupt();
    expect(await running.exit).toBe(0);
    for (const line of running.stdout.lines) {
      expect(JSON.parse(line)).toMatchObject({ condition: 'live', channels: { beak: {} } });
    }
  });

  test('watch on a terminal draws a table', async () => {
    const running = start(['watch'], daemon, { tty: true });
    await until(() => running.stdout.text.includes('servo6v'));
    running.interrupt();
    await running.exit;
    expect(running.stdout.text).toMatch(/Test owl: live[\s\S]*channel +value +target +pulse us/);
  });

  test('watch ends with 3 when the daemon goes', async () => {
    const running = start(['watch'], daemon);
    await until(() => running.stdout.text !== '');
    for (const link of daemon.links) link.terminate();
    expect(await running.exit).toBe(3);
    expect(running.stderr.text).toBe('sinew: link lost: the connection broke off\n');
  });

  test('journal --follow goes on, and tells nothing twice', async () => {
    const entry = { time: '2026-01-01T00:00:02.000Z', who: 'ann', what: 'stop', text: 'stopped' };
    const running = start(['journal', '--follow', '--json'], daemon);
    await until(() => running.stdout.lines.length === 2);
    daemon.notify('event', { entry: { seq: 8, ...entry } });
    daemon.notify('event', { entry: { seq: 9, ...entry } });
    await until(() => running.stdout.lines.length > 2);
    running.interrupt();
    expect(await running.exit).toBe(0);
    expect(running.stdout.lines.map((line) => JSON.parse(line).seq)).toEqual([7, 8, 9]);
    expect(daemon.called('state.follow')).toEqual([{ hz: 1, journal: true }]);
  });
});
