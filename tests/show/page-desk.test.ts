import { beforeEach, expect, it } from 'vitest';
import type { ShowPageCommand } from '../../src/api/show-page.ts';
import { VirtualClock } from '../../src/shared/clock.ts';
import { PageRefusal, ShowDesk } from '../../src/showpage/desk.ts';

let clock: VirtualClock;
let desk: ShowDesk;
let reads: number;
let done: ShowPageCommand[];
let controls: boolean[];
beforeEach(() => {
  clock = new VirtualClock();
  reads = 0;
  done = [];
  controls = [];
  desk = new ShowDesk(
    {
      read: async () => `{"show":"foyer","reads":${++reads}}`,
      carryOut: async (asked) => {
        done.push(asked);
        return { ok: true, lines: [] };
      },
      control: (has) => controls.push(has),
    },
    clock,
  );
});
const page = (i: number) => `page-${i}-xxxx`;
const [A, B] = [page(1), page(2)];
const GO = { act: 'go', target: 'all', cue: 'nod' } as const;
const STOP = { act: 'stop', target: 'all', category: 1 } as const;
const state = async (id: string) => JSON.parse(await desk.state(id));

it('a page that hangs loses control after 3 s, and the props need this clock no longer', async () => {
  await desk.act(A, { act: 'take' });
  clock.advance(2900);
  expect(await state(A)).toMatchObject({ control: true, holder: null });
  clock.advance(2900);
  expect(await state(B)).toMatchObject({ control: false, holder: 'another page' });
  expect((await desk.act(A, GO)).ok).toBe(true);
  expect(controls).toEqual([true]);
  clock.advance(200);
  expect(controls).toEqual([true, false]);
  expect((await desk.act(A, GO)).ok).toBe(false);
  expect((await desk.act(B, { act: 'take' })).ok).toBe(true);
  expect(done).toEqual([GO]);
});

it('pages that ask at the same time are shown what was read once', async () => {
  const all = await Promise.all([A, B, page(3)].map(state));
  expect(all.map(({ reads }) => reads)).toEqual([1, 1, 1]);
  clock.advance(250);
  expect(await state(A)).toMatchObject({ show: 'foyer', reads: 2 });
});

it('one page too many is shown nothing, and stops all the same; a page that is closed makes room', async () => {
  for (let i = 1; i <= 16; i++) await desk.state(page(i));
  await expect(desk.state(page(17))).rejects.toThrow('16 pages of the show are open here');
  await expect(desk.act(page(17), { act: 'take' })).rejects.toThrow(PageRefusal);
  expect((await desk.act(page(17), STOP)).ok).toBe(true);
  clock.advance(3100);
  expect(await state(page(17))).toMatchObject({ control: false });
});

it('a flood of requests keeps everything waiting but a stop', async () => {
  const flood = async () => {
    for (;;) await desk.act(A, { act: 'park', target: 'all' });
  };
  await expect(flood()).rejects.toThrow('ask too often');
  await expect(desk.state(B)).rejects.toThrow('ask too often');
  done = [];
  expect((await desk.act(B, STOP)).ok).toBe(true);
  expect(done).toEqual([STOP]);
});

it('what could not be read is read again', async () => {
  let fails = true;
  const shaky = new ShowDesk(
    {
      read: async () => {
        if (fails) throw new PageRefusal(503, 'not now');
        return '{"show":"foyer"}';
      },
      carryOut: async () => ({ ok: true, lines: [] }),
      control: () => {},
    },
    clock,
  );
  await expect(shaky.state(A)).rejects.toThrow('not now');
  fails = false;
  clock.advance(250);
  expect(JSON.parse(await shaky.state(A))).toMatchObject({ show: 'foyer', control: false });
});
