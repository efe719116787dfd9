import { mkdtemp, readFile, rm } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterEach, beforeEach, describe, expect, test } from 'vitest';
import type { Result } from '../../src/api/methods.ts';
import { complete } from '../../src/cli/session.ts';
import { FakeDaemon, type Running, start, until } from './fake-daemon.ts';

let daemon: FakeDaemon;
beforeEach(async () => {
  daemon = await FakeDaemon.start();
});
afterEach(() => daemon.stop());

async function script(lines: string[], argv: string[] = []) {
  const running = start(['session', ...argv], daemon);
  running.stdin.end(lines.map((line) => `${line}\n`).join(''));
  const code = await running.exit;
  return { code, out: running.stdout.text, err: running.stderr.text };
}

const OPENING = ['lease.take', 'state.follow'];

describe('a script from a pipe', () => {
  test('runs line by line, keeps the lease, and parks at the end', async () => {
    const { code, out, err } = await script([
      '# open wide',
      '',
      'move beak -3   # a bit first',
      'move beak open',
      'colour eye_left #ff8800',
      'wait 1.5',
      'pose asleep',
    ]);
    expect({ code, err }).toEqual({ code: 0, err: '' });
    expect(daemon.methods).toEqual([
      ...OPENING,
      'channel.list',
      'channel.move',
      'channel.list',
      'channel.move',
      'channel.colour',
      'channel.list',
      'pose.go',
      'lease.release',
    ]);
    expect(daemon.called('lease.release')).toEqual([{ graceS: 0 }]);
    expect(daemon.called('state.follow')).toEqual([{ hz: 10, journal: true }]);
    expect(out.trim().split('\n')).toEqual([
      'beak moved to -3 deg in 0.3 s',
      'beak moved to 30 deg in 0.3 s',
      'eye_left #ff8800',
      'pose asleep reached in 0.5 s',
      'lease released; the prop parks',
    ]);
  });

  test('leaves no grace behind when it fails, as on a terminal that is closed', async () => {
    const running = start(['session'], daemon);
    running.stdin.write('move beak 3\n');
    await until(() => daemon.called('channel.move').length === 1);
    // What a read from a terminal that is gone ends in (read(2), EIO).
    running.stdin.destroy(Object.assign(new Error('read EIO'), { code: 'EIO' }));
    await running.exit;
    expect(daemon.called('lease.release')).toEqual([{ graceS: 0 }]);
  });

  test('stops at the first refused line and names it', async () => {
    const { code, out, err } = await script(['move beak 3', 'move beak 90', 'move beak 4']);
    expect(code).toBe(1);
    expect(err).toBe('sinew: line 2: beak cannot go to 90 deg (limit 35)\n');
    expect(daemon.called('channel.move')).toHaveLength(2);
    expect(out).toMatch(/\nlease released; the prop parks\n$/);
    expect(daemon.methods.at(-1)).toBe('lease.release');
  });

  test.each([
    ['mvoe beak 3', /^sinew: line 1: unknown command 'mvoe' \(Did you mean move\?\)\n/],
    ['move beak "3', /^sinew: line 1: the quote " is not closed\n/],
    ['watch', /^sinew: line 1: Ctrl-C stops the prop in a session/],
    ['journal --follow', /^sinew: line 1: --follow works on the command line/],
  ])('stops at %j, too', async (line, reason) => {
    const { code, err } = await script([line, 'move beak 3']);
    expect(code).toBe(1);
    expect(err).toMatch(reason);
    expect(daemon.methods).toEqual([...OPENING, 'lease.release']);
  });

  test('quit ends it in good order, before the lines after it', async () => {
    expect((await script(['quit', 'move beak 3'])).code).toBe(0);
    expect(daemon.methods).toEqual([...OPENING, 'lease.release']);
  });

  test('wait waits', async () => {
    let releasedAtMs = 0;
    daemon.handlers['lease.release'] = () => {
      releasedAtMs = daemon.clock.nowMs();
      return { holder: null };
    };
    const beforeMs = daemon.clock.nowMs();
    await script(['wait 7.5']);
    expect(releasedAtMs - beforeMs).toBeGreaterThanOrEqual(7500);
  });

  test('--wake wakes first; --grace keeps the prop live at the end', async () => {
    daemon.condition = 'parked';
    const { code, out } = await script(['pose asleep'], ['--wake', '--grace', '60']);
    expect(code).toBe(0);
    expect(daemon.methods).toEqual([
      'lease.take',
      'wake',
      'state.follow',
      'channel.list',
      'pose.go',
      'lease.release',
    ]);
    expect(daemon.called('lease.release')).toEqual([{ graceS: 60 }]);
    expect(out).toMatch(/parks in 60 s unless someone takes it\n$/);
  });

  test('wake may be a line; the daemon judges what the condition forbids', async () => {
    daemon.condition = 'parked';
    expect((await script(['wake', 'move beak 3'])).code).toBe(0);
    daemon.condition = 'parked';
    const { code, err } = await script(['move beak 3']);
    expect(code).toBe(1);
    expect(err).toMatch(/^sinew: line 1: the prop is parked; wake it first/);
  });

  test('--json gives one object a line, errors with their line', async () => {
    const { code, out, err } = await script(['move beak 3', 'move beak 90'], ['--json']);
    expect(code).toBe(1);
    expect(
      out
        .trim()
        .split('\n')
        .map((line) => JSON.parse(line)),
    ).toEqual([{ target: 3, durationS: 0.3 }]);
    expect(JSON.parse(err)).toMatchObject({ line: 2, error: { code: -32002 } });
  });

  test('a lease held by another ends it before the first line', async () => {
    daemon.holder = 'ben@desk';
    const { code, err } = await script(['move beak 3']);
    expect(code).toBe(1);
    expect(err).toMatch(/ben@desk holds the lease/);
    expect(daemon.methods).toEqual(['lease.take']);
  });

  test('a lost link ends it with 3', async () => {
    daemon.handlers['pose.go'] = (_params, link) => {
      link.terminate();
      return new Promise(() => {});
    };
    const { code, err } = await script(['pose asleep', 'move beak 3']);
    expect(code).toBe(3);
    expect(err).toBe('sinew: link lost: the connection broke off; the prop parks itself\n');
    expect(daemon.called('channel.move')).toEqual([]);
  });

  test('Ctrl-C stops the motion and the script', async () => {
    const running = start(['session'], daemon);
    running.stdin.write('wait 9000\nmove beak 3\n');
    await until(() => daemon.methods.length === OPENING.length);
    await until(() => running.stdin.readableLength === 0);
    running.interrupt();
    expect(await running.exit).toBe(1);
    expect(daemon.called('stop')).toEqual([{ category: 2 }]);
    expect(daemon.called('channel.move')).toEqual([]);
    expect(daemon.methods.at(-1)).toBe('lease.release');
    expect(running.stderr.text).toMatch(/motion stopped \(stop category 2\)/);
  });
});

describe('the prompt', () => {
  let state: string;
  let running: Running;
  beforeEach(async () => {
    state = await mkdtemp(join(tmpdir(), 'sinew-'));
    running = start(['session'], daemon, { tty: true, env: { XDG_STATE_HOME: state } });
    await until(() => running.stdout.text.includes('live> '));
  });
  afterEach(() => rm(state, { recursive: true }));

  test('goes on after a refused line, and Ctrl-D ends it', async () => {
    running.stdin.write('move beak 90\r');
    await until(() => running.stderr.text !== '');
    running.stdin.write('move beak 3\r');
    await until(() => running.stdout.text.includes('beak moved to 3 deg'));
    running.stdin.write('\x04');
    expect(await running.exit).toBe(0);
    expect(running.stderr.text).toBe('sinew: beak cannot go to 90 deg (limit 35)\n');
    expect(running.stdout.text).toMatch(/lease released; the prop parks\n$/);
  });

  test('keeps its history for the next session', async () => {
    running.stdin.write('move beak 3\r');
    await until(() => running.stdout.text.includes('beak moved to 3 deg'));
    running.stdin.write('quit\r');
    await running.exit;
    const file = join(state, 'sinew', 'history');
    expect(await readFile(file, 'utf8')).toBe('move beak 3\nquit\n');

    const again = start(['session'], daemon, { tty: true, env: { XDG_STATE_HOME: state } });
    await until(() => again.stdout.text.includes('live> '));
    // Arrow up (ECMA-48 CUU), twice.
    again.stdin.write('\x1b[A\x1b[A\r');
    await until(() => daemon.called('channel.move').length === 2);
    again.stdin.write('\x04');
    expect(await again.exit).toBe(0);
  });

  test('asks before it wakes servos that stand nobody knows where', async () => {
    daemon.condition = 'parked';
    daemon.unknown = ['neck'];
    const asked = (times: number) =>
      until(() => running.stdout.text.split('Wake? [y/N]').length > times);
    running.stdin.write('wake\r');
    await asked(1);
    running.stdin.write('no\r');
    await until(() => running.stderr.text.includes('nothing was done'));
    expect(daemon.called('wake')).toEqual([{ wait: true }]);
    running.stdin.write('wake\r');
    await asked(2);
    running.stdin.write('y\r');
    await until(() => running.stdout.text.includes('the prop is live'));
    expect(daemon.called('wake').at(-1)).toEqual({ wait: true, confirm: 'unknown' });
    running.stdin.write('\x04');
    expect(await running.exit).toBe(0);
  });

  test('Ctrl-C at that question leaves no question behind', async () => {
    daemon.condition = 'parked';
    daemon.unknown = ['neck'];
    running.stdin.write('wake\r');
    await until(() => running.stdout.text.includes('Wake? [y/N]'));
    running.stdin.write('\x03');
    await until(() => daemon.methods.at(-1) === 'stop');
    await until(() => running.stderr.text.includes('interrupted'));
    running.stdin.write('move beak 3\r');
    await until(() => daemon.methods.at(-1) === 'channel.move');
    running.stdin.write('\x04');
    await running.exit;
  });

  test('Ctrl-C stops motion (category 2) and the prompt stays', async () => {
    running.stdin.write('move bea');
    await until(() => running.stdout.text.includes('move bea'));
    running.stdin.write('\x03');
    await until(() => running.stderr.text.includes('motion stopped (stop category 2)'));
    expect(daemon.called('stop')).toEqual([{ category: 2 }]);
    running.stdin.write('reset\r');
    await until(() => running.stdout.text.includes('the prop is parked'));
    running.stdin.write('\x04');
    expect(await running.exit).toBe(0);
  });

  test('Ctrl-C during a move refuses the rest of it', async () => {
    daemon.handlers['channel.move'] = () => new Promise(() => {});
    running.stdin.write('move beak 3\r');
    await until(() => daemon.methods.includes('channel.move'));
    running.stdin.write('\x03');
    await until(() => running.stderr.text.includes('interrupted: motion stopped'));
    running.stdin.write('\x04');
    expect(await running.exit).toBe(0);
  });

  test('tells what happens to the prop meanwhile', async () => {
    daemon.condition = 'stopped';
    await until(() => running.stderr.text.includes('-- the prop is now stopped'));
    const entry = { seq: 9, time: '', who: 'ben@desk', what: 'park', text: 'asked to park' };
    daemon.notify('event', { entry });
    await until(() => running.stderr.text.includes('-- ben@desk: asked to park'));
    running.stdin.write('\x04');
    expect(await running.exit).toBe(0);
  });

  test('a link lost while nobody types ends it with 3', async () => {
    for (const link of daemon.links) link.terminate();
    expect(await running.exit).toBe(3);
    expect(running.stderr.text).toMatch(/link lost: .*; the prop parks itself\n$/);
  });

  test('help lists the verbs, tab completes them', async () => {
    running.stdin.write('help\r');
    await until(() => running.stdout.text.includes('find wires'));
    // One key at a time: readline takes a tab within a longer chunk for pasted text.
    for (const [typed, completed] of [
      ['mo', 'move '],
      ['be', 'beak '],
      ['op', 'open '],
    ]) {
      running.stdin.write(typed);
      running.stdin.write('\t');
      await until(() => running.stdout.text.includes(completed!.slice(typed!.length)));
      running.stdout.text = '';
    }
    running.stdin.write('\r');
    await until(() => daemon.called('channel.move').length === 1);
    expect(daemon.called('channel.move')).toEqual([{ channel: 'beak', to: 'open', wait: true }]);
    running.stdin.write('\x04');
    expect(await running.exit).toBe(0);
  });

  test('tab knows a mark that came later', async () => {
    daemon.channels.beak!.marks!.yawning = 35;
    running.stdin.write('move beak ya');
    running.stdin.write('\t');
    await until(() => running.stdout.text.includes('yawning '));
    running.stdin.write('\r');
    await until(() => daemon.called('channel.move').length === 1);
    expect(daemon.called('channel.move')).toEqual([{ channel: 'beak', to: 'yawning', wait: true }]);
    running.stdin.write('\x04');
    expect(await running.exit).toBe(0);
  });
});

describe('completion', () => {
  const hits = (line: string) =>
    complete(line, daemon.list() as Result<'channel.list'>)[0].map((hit) => hit.trim());

  test.each([
    ['pa', ['park', 'parts']],
    ['move t', ['tail', 'tail_1', 'tail_2']],
    ['jog t', ['tail_1', 'tail_2']],
    ['move beak ', ['open', 'shut']],
    ['move tail ', ['up']],
    ['pose a', ['alert', 'asleep']],
    ['rest b', ['beak']],
    ['rest beak s', ['shut']],
    ['und', ['undo']],
    ['switch mist o', ['off', 'on']],
    ['jog beak 1 --', ['--beyond-limits', '--us']],
    ['help mo', ['move']],
    ['mvoe b', []],
  ])('%j', (line, expected) => {
    expect(hits(line)).toEqual(expected);
  });
});
