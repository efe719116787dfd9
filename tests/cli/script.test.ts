import { writeFile } from 'node:fs/promises';
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { start, until } from './fake-daemon.ts';
import { setting } from './setting.ts';

const on = setting('test');

async function file(name: string, lines: readonly string[]): Promise<string> {
  const path = join(on.folder, name);
  await writeFile(path, lines.map((line) => `${line}\n`).join(''));
  return path;
}

async function run(lines: readonly string[], ...argv: string[]) {
  const path = await file('show.txt', lines);
  return { path, ...(await call(['run', path, ...argv])) };
}

async function call(argv: readonly string[]) {
  const running = start([...argv], on.daemon);
  running.stdin.end();
  const code = await running.exit;
  return { code, out: running.stdout.text, err: running.stderr.text };
}

const OPENING = ['lease.take', 'state.follow'];

describe('sinew run', () => {
  test('runs a script with waits, keeps the lease, and parks at its end', async () => {
    let releasedAtMs = 0;
    on.daemon.handlers['lease.release'] = () => {
      releasedAtMs = on.daemon.clock.nowMs();
      return { holder: null };
    };
    const beforeMs = on.daemon.clock.nowMs();
    const { code, out, err } = await run([
      '# a greeting',
      'move beak open',
      'wait 2.5',
      'pose asleep',
    ]);
    expect({ code, err }).toEqual({ code: 0, err: '' });
    expect(out.trim().split('\n')).toEqual([
      'beak moved to 30 deg in 0.3 s',
      'pose asleep reached in 0.5 s',
      'lease released; the prop parks',
    ]);
    expect(on.daemon.methods.slice(0, 2)).toEqual(OPENING);
    expect(releasedAtMs - beforeMs).toBeGreaterThanOrEqual(2500);
  });

  test('a slip anywhere in it: nothing is done, and every wrong line is named', async () => {
    const { code, path, err } = await run([
      'move beak open',
      'mvoe beak 3',
      'wait soon',
      'dim lantern 300%',
    ]);
    expect(code).toBe(2);
    expect(err).toContain('nothing was done');
    expect(err).toMatch(new RegExp(`${path}, line 2: unknown command 'mvoe'.*Did you mean move`));
    expect(err).toContain(`${path}, line 3: `);
    expect(err).toContain(`${path}, line 4: `);
    expect(on.daemon.methods).toEqual([]);
  });

  test('stops at the first refusal and names the place', async () => {
    const { code, path, err } = await run(['move beak 3', 'move beak 90', 'move beak 4']);
    expect(code).toBe(1);
    expect(err).toBe(`sinew: ${path}, line 2: beak cannot go to 90 deg (limit 35)\n`);
    expect(on.daemon.called('channel.move')).toHaveLength(2);
    expect(on.daemon.methods.at(-1)).toBe('lease.release');
  });

  test('its place is in the answer for programs, too', async () => {
    const { path, err } = await run(['move beak 90'], '--json');
    expect(JSON.parse(err)).toMatchObject({ file: path, line: 1, error: { code: -32002 } });
  });

  test('a file that is not there', async () => {
    const { code, err } = await call(['run', join(on.folder, 'none.txt')]);
    expect(code).toBe(2);
    expect(err).toMatch(/^sinew: cannot read the script: ENOENT/);
    expect(on.daemon.methods).toEqual([]);
  });

  test('Ctrl-C stops the motion, and nothing after it is run', async () => {
    const path = await file('long.txt', ['wait 9000', 'move beak 3']);
    const running = start(['run', path], on.daemon);
    await until(() => on.daemon.methods.length === OPENING.length);
    running.interrupt();
    expect(await running.exit).toBe(1);
    expect(on.daemon.called('stop')).toEqual([{ category: 2 }]);
    expect(on.daemon.called('channel.move')).toEqual([]);
  });

  test('a script may run another one, whose failure ends both', async () => {
    const inner = await file('inner.txt', ['move beak 5', 'move beak 90']);
    const { code, err } = await run([`run ${inner}`, 'move beak 6']);
    expect(code).toBe(1);
    expect(err).toContain(`${inner}, line 2: `);
    expect(on.daemon.called('channel.move')).toHaveLength(2);
  });

  test('one that runs itself ends', async () => {
    const path = join(on.folder, 'self.txt');
    await writeFile(path, `run ${path}\n`);
    const { code, err } = await call(['run', path]);
    expect(code).toBe(1);
    expect(err).toContain('more than 8 deep');
  });
});

describe('the same words inside and outside a session', () => {
  test('status, exit and watch are lines of a script', async () => {
    const { code, out, err } = await run(['status', 'watch --for 0.5', 'exit', 'move beak 3']);
    expect({ code, err }).toEqual({ code: 0, err: '' });
    expect(out).toMatch(/^Test owl: live\n/);
    expect(out).toMatch(/\d\.\d\d s {2}condition live\n/);
    expect(on.daemon.called('channel.move')).toEqual([]);
  });

  test('watch without a time would take Ctrl-C from the stop: it says so', async () => {
    const { code, err } = await run(['watch']);
    expect(code).toBe(1);
    expect(err).toContain('watch --for SECONDS');
  });

  test.each(['idle off', 'arm on'])('%s alone says where it works', async (line) => {
    const { code, err } = await call(line.split(' '));
    expect(code).toBe(2);
    expect(err).toContain('use it in sinew session, or in a script for sinew run');
    expect(on.daemon.methods).toEqual([]);
  });

  test('a lightness in per cent', async () => {
    expect((await call(['dim', 'lantern', '60%'])).code).toBe(0);
    expect((await call(['dim', 'lantern', '0.6'])).code).toBe(0);
    expect(on.daemon.called('channel.dim')).toEqual([
      expect.objectContaining({ to: 0.6 }),
      expect.objectContaining({ to: 0.6 }),
    ]);
    const { code, err } = await call(['dim', 'lantern', '60']);
    expect(code).toBe(2);
    expect(err).toContain('from 0 to 1, or from 0% to 100%');
  });
});
