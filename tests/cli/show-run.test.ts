import { afterEach, expect, test, vi } from 'vitest';
import { Running } from '../../src/cli/show-run.ts';
import { showSchemas } from '../../src/show/show-file.ts';
import { Troupe } from '../show/troupe.ts';

afterEach(() => {
  vi.restoreAllMocks();
});

test.each([0, 100, 400, 600, 900])(
  'a scheduled show plays, whenever the wait for it has begun (%i ms)',
  async (beforeMs) => {
    const troupe = new Troupe('left', 'right');
    const conductor = troupe.conductor();
    const tenMs = new Date(2026, 4, 6, 10).getTime();
    const sinceMs = troupe.clock.nowMs();
    const startMs = sinceMs + 5000 + beforeMs;
    vi.spyOn(Date, 'now').mockImplementation(() => tenMs - startMs + troupe.clock.nowMs());
    const show = showSchemas().showFile.parse({
      ...{ sinewShow: 1, name: 'foyer', leadS: 2 },
      props: { left: { file: 'a.yaml' }, right: { file: 'b.yaml' } },
      timeline: [{ at: 0, go: { left: 'nod' } }],
      schedule: [{ daily: '10:00' }],
    });
    const said: string[] = [];
    const io = { clock: troupe.clock } as never;
    const running = new Running(show, conductor, { io }, (text) => said.push(text));
    const over = running.bySchedule();
    await troupe.run(9000);
    running.end();
    await over;
    expect(said.filter((text) => text.includes('too late'))).toEqual([]);
    expect(troupe.get('left').started.map(({ cue, atMs }) => [cue, atMs - startMs])).toEqual([
      ['nod', 0],
    ]);
  },
);
