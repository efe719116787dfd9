import { writeFile } from 'node:fs/promises';
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { Refusal } from '../../src/shared/errors.ts';
import { FakeDaemon, run, start, until } from './fake-daemon.ts';
import { setting } from './setting.ts';

// What a person at a terminal learns of the prop file, and how it is changed from there.

const on = setting('test');

const FAULTY = {
  changed: ['beak moves at 0 deg/s'],
  problem: 'owl.yaml has 2 findings; fix it',
  findings: [
    {
      level: 'error',
      line: 12,
      column: 5,
      path: 'channels.beak.speedDegS',
      message: 'must be above 0; give a speed',
    },
    { level: 'warning', line: 3, column: 1, path: 'rails', message: 'odd; look again' },
  ],
};
const WAITS = { changed: ['limits of beak: -5 to 35 deg become -5 to 30 deg'], pending: true };

describe('status', () => {
  test('says nothing of a file that is in use', async () => {
    const { out } = await run(['status'], on.daemon);
    expect(out).toMatch(/^Test owl: live\nlease: free\n\nchannel/);
  });

  test('shows what is wrong with a file that is not', async () => {
    on.daemon.file = FAULTY;
    const { code, out } = await run(['status'], on.daemon);
    expect(code).toBe(0);
    expect(out.split('\n').slice(2, 9)).toEqual([
      'prop file: not in use: owl.yaml has 2 findings; fix it',
      '  12:5: channels.beak.speedDegS: must be above 0; give a speed',
      '  3:1: rails: warning: odd; look again',
      'it would change:',
      '  beak moves at 0 deg/s',
      'the prop keeps the version before',
      '',
    ]);
    const json = JSON.parse((await run(['status', '--json'], on.daemon)).out);
    expect(json).toMatchObject({ version: on.daemon.version, file: FAULTY });
  });

  test('shows what waits', async () => {
    on.daemon.file = WAITS;
    const { out } = await run(['status'], on.daemon);
    expect(out.split('\n').slice(2, 4)).toEqual([
      'prop file: a change waits until the prop is parked:',
      '  limits of beak: -5 to 35 deg become -5 to 30 deg',
    ]);
  });
});

describe('a session is told of the prop file in one line', () => {
  const change = { version: 'cccccccccccccccc', prop: 'Test owl', linkTimeoutMs: 60_000 };
  test.each([
    [
      { changed: ['mark a is new', 'cue b is gone'] },
      'the prop file has changed: mark a is new; cue b is gone',
    ],
    [{ changed: [] }, 'the prop file is in use'],
    [
      WAITS,
      'a change of the prop file waits until the prop is parked: limits of beak: -5 to 35 deg become -5 to 30 deg',
    ],
    [
      FAULTY,
      'the prop file on the disk is not in use: owl.yaml has 2 findings; fix it (12:5: channels.beak.speedDegS: must be above 0; give a speed) (and 1 more)',
    ],
  ])('%j', async (news, line) => {
    const running = start(['session'], on.daemon);
    await until(() => on.daemon.methods.includes('state.follow'));
    on.daemon.notify('prop.changed', { ...change, ...news });
    await until(() => running.stderr.text.includes('\n'));
    expect(running.stderr.text).toBe(`-- ${line}\n`);
    running.stdin.end();
    expect(await running.exit).toBe(0);
  });

  test('but not of what it has just captured itself', async () => {
    on.daemon.handlers['mark.capture'] = () => {
      on.daemon.notify('prop.changed', { ...change, changed: ['mark open of beak is new'] });
      return { deg: 12.5, pulseUs: 1639 };
    };
    const running = start(['session'], on.daemon);
    running.stdin.end('mark beak open\n');
    expect(await running.exit).toBe(0);
    expect(running.stderr.text).toBe('');
  });
});

describe('history, restore and apply', () => {
  test('history is a table', async () => {
    const { code, out } = await run(['history'], on.daemon);
    expect(code).toBe(0);
    expect(out).toBe(
      [
        'version           time                      who  what',
        'aaaaaaaaaaaaaaaa  2026-01-02T10:00:00.000Z  bob  mark shut of beak  present',
        'bbbbbbbbbbbbbbbb  2026-01-01T10:00:00.000Z  ann  edited',
        '',
      ].join('\n'),
    );
    expect(on.daemon.methods).toEqual(['prop.history']);
  });

  test('history --diff shows what going back would change, and needs no lease', async () => {
    const answer = {
      version: 'bbbbbbbbbbbbbbbb',
      present: 'aaaaaaaaaaaaaaaa',
      changed: ['speedDegS of beak: 90 becomes 120'],
      whenParked: true,
      hunks: [
        {
          from: 40,
          to: 40,
          lines: [
            { is: 'same', text: '    kind: servo' },
            { is: 'gone', text: '    speedDegS: 90' },
            { is: 'new', text: '    speedDegS: 120' },
          ],
        },
      ],
      more: 3,
    };
    on.daemon.handlers['prop.difference'] = () => answer;
    const argv = ['history', '--diff', 'bbbbbbbbbbbbbbbb'];
    const { code, out } = await run(argv, on.daemon);
    expect(code).toBe(0);
    expect(out.split('\n')).toEqual([
      '@@ line 40',
      '      kind: servo',
      '-     speedDegS: 90',
      '+     speedDegS: 120',
      'and 3 more lines',
      '',
      'going back to it changes, once the prop is parked:',
      '  speedDegS of beak: 90 becomes 120',
      '',
    ]);
    expect(on.daemon.methods).toEqual(['prop.difference']);
    on.daemon.handlers['prop.difference'] = () => ({
      ...answer,
      changed: [],
      problem: 'it is cut',
    });
    expect((await run(argv, on.daemon)).out).toContain(
      'bbbbbbbbbbbbbbbb cannot be used: it is cut\n',
    );
    on.daemon.handlers['prop.difference'] = () => ({ ...answer, version: answer.present });
    expect((await run(argv, on.daemon)).out).toBe('version aaaaaaaaaaaaaaaa is the present one\n');
    expect((await run(['history', '--diff', 'old'], on.daemon)).code).toBe(2);
  });

  test('restore takes the lease and says what waits', async () => {
    const { code, out } = await run(['restore', 'bbbbbbbbbbbbbbbb'], on.daemon);
    expect(code).toBe(0);
    expect(out).toMatch(
      /^restored as version bbbbbbbbbbbbbbbb: it waits until the prop is parked \(sinew park\)\n {2}limits of beak: .*\nlease handed over/,
    );
    expect(on.daemon.methods).toEqual(['lease.take', 'prop.restore', 'lease.release']);
  });

  test('restore wants a version', async () => {
    const { code, err } = await run(['restore', 'yesterday'], on.daemon);
    expect(code).toBe(2);
    expect(err).toMatch(/16 hexadecimal digits; sinew history lists them/);
  });

  test('apply sends the file against the present version', async () => {
    const file = join(on.folder, 'owl.yaml');
    await writeFile(file, 'sinew: 1\nname: Foyer owl\n');
    const { code, out } = await run(['apply', file], on.daemon);
    expect(code).toBe(0);
    expect(out).toMatch(
      /was written as version cccccccccccccccc: it is in use\n {2}mark open of beak: 30/,
    );
    expect(on.daemon.called('prop.apply')).toEqual([
      { text: 'sinew: 1\nname: Foyer owl\n', version: on.daemon.version },
    ]);
  });

  test('apply --base goes by the version that the file was made from', async () => {
    const file = join(on.folder, 'owl.yaml');
    await writeFile(file, 'sinew: 1\n');
    await run(['apply', file, '--base', 'bbbbbbbbbbbbbbbb'], on.daemon);
    expect(on.daemon.called('prop.apply')).toMatchObject([{ version: 'bbbbbbbbbbbbbbbb' }]);
    expect(on.daemon.methods).not.toContain('prop.read');
  });

  test('a refusal shows the difference, and what is wrong', async () => {
    const file = join(on.folder, 'owl.yaml');
    await writeFile(file, 'sinew: 1\n');
    on.daemon.handlers['prop.apply'] = () => {
      throw new Refusal(
        'file.other-version',
        'the prop file was changed by somebody else meanwhile',
        {
          version: on.daemon.version,
          changed: ['mark open of beak: 30 deg becomes 28 deg'],
          findings: FAULTY.findings,
        },
      );
    };
    const { code, out, err } = await run(['apply', file], on.daemon);
    expect({ code, out }).toEqual({ code: 1, out: '' });
    expect(err.split('\n').slice(0, 4)).toEqual([
      'sinew: the prop file was changed by somebody else meanwhile',
      '  12:5: channels.beak.speedDegS: must be above 0; give a speed',
      '  3:1: rails: warning: odd; look again',
      '  mark open of beak: 30 deg becomes 28 deg',
    ]);
  });

  test('so does one that tells findings as the check makes them', async () => {
    on.daemon.handlers['limits.capture'] = () => {
      const place = { line: 46, column: 29, path: 'channels.beak.marks.open' };
      const findings = [{ severity: 'error', ...place, wrong: 'outside', right: 'stay within' }];
      throw new Refusal('file.would-be-wrong', 'the prop file would be wrong', { findings });
    };
    const { err } = await run(['limit', 'beak', 'high'], on.daemon);
    expect(err.split('\n').slice(0, 2)).toEqual([
      'sinew: the prop file would be wrong',
      '  46:29: channels.beak.marks.open: outside; stay within',
    ]);
  });

  test('a file that is not there, or too large for a frame, is told before the lease is taken', async () => {
    const gone = await run(['apply', join(on.folder, 'none.yaml')], on.daemon);
    expect(gone.code).toBe(1);
    expect(gone.err).toMatch(/cannot read .*none\.yaml/);
    // Each line break takes two bytes in a frame.
    const file = join(on.folder, 'owl.yaml');
    for (const text of ['a'.repeat(70_000), '\n'.repeat(40_000)]) {
      await writeFile(file, text);
      const large = await run(['apply', file], on.daemon);
      expect(large.code).toBe(1);
      expect(large.err).toMatch(/too large to be sent.*copy it over the prop file on the board/);
    }
    expect(on.daemon.methods).toEqual([]);
  });
});

describe('a link that is lost while a capture is under way', () => {
  const lose = (then: () => void) => {
    on.daemon.handlers['mark.capture'] = (_params, link) => {
      then();
      link.terminate();
      return new Promise(() => {});
    };
  };
  const written = {
    version: 'dddddddddddddddd',
    time: '2026-01-03T10:00:00.000Z',
    who: 'ann',
    what: 'mark open of beak',
  };
  const LOST = 'sinew: link lost: the connection broke off; the prop parks itself; ';
  const argv = ['mark', 'beak', 'open', '--name', 'ann'];

  test('that was written', async () => {
    lose(() => on.daemon.versions.unshift(written));
    const { code, out, err } = await run(argv, on.daemon);
    expect({ code, out }).toEqual({ code: 3, out: '' });
    expect(err).toBe(
      `${LOST}mark open of beak was written to the prop file (version dddddddddddddddd)\n`,
    );
    // It only looks: the lease is not taken again.
    expect(on.daemon.called('lease.take').length).toBe(1);
  });

  test('that is written late, by a slow disk', async () => {
    lose(() => on.daemon.clock.after(2000, () => on.daemon.versions.unshift(written)));
    expect((await run(argv, on.daemon)).err).toMatch(/open of beak was written/);
  });

  test('that was not written', async () => {
    lose(() => {});
    const { code, err } = await run(argv, on.daemon);
    expect(code).toBe(3);
    expect(err).toBe(`${LOST}mark open of beak was not written to the prop file\n`);
  });

  test('what somebody else wrote meanwhile is not taken for it', async () => {
    lose(() => on.daemon.versions.unshift({ ...written, who: 'bob' }));
    expect((await run(argv, on.daemon)).err).toMatch(/open of beak was not written/);
  });

  test('what this one wrote before it is not taken for it either', async () => {
    const running = start(['session', '--name', 'ann'], on.daemon);
    on.daemon.handlers['limits.capture'] = () => {
      on.daemon.versions.unshift(written);
      const { version } = written;
      const change = { version, prop: 'Test owl', linkTimeoutMs: 60_000, changed: ['limits'] };
      on.daemon.notify('prop.changed', change);
      return { limitsDeg: [-5, 12.5] };
    };
    lose(() => {});
    running.stdin.end('limit beak high\nmark beak open\n');
    expect(await running.exit).toBe(3);
    expect(running.stderr.text).toMatch(/mark open of beak was not written/);
  });

  test('with a daemon that is gone, nothing is claimed', async () => {
    lose(() => {
      void on.daemon.stop();
      on.daemon.clock.advance(0);
    });
    const pump = setInterval(() => on.daemon.clock.advance(10), 1);
    const { code, err } = await run(argv, on.daemon);
    clearInterval(pump);
    expect(code).toBe(3);
    expect(err).toBe(
      `${LOST}whether mark open of beak was written is not known; look with sinew history\n`,
    );
    on.daemon = await FakeDaemon.start();
  });

  test('nor where the version before is no longer among those that are kept', async () => {
    lose(() => {
      on.daemon.versions = [{ ...written, who: 'bob' }];
    });
    expect((await run(argv, on.daemon)).err).toMatch(/is not known; look with sinew history/);
  });

  test('nor where the daemon cannot tell', async () => {
    lose(() => {});
    on.daemon.handlers['prop.history'] = () => {
      throw new Refusal('service.dead', 'the prop-file service has died; ask again');
    };
    expect((await run(argv, on.daemon)).err).toMatch(/is not known; look with sinew history/);
  });
});
