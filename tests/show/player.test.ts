import { describe, expect, test } from 'vitest';
import type { Conductor } from '../../src/show/conductor.ts';
import { type PlayedStep, playShow } from '../../src/show/player.ts';
import { type ShowFile, showSchemas } from '../../src/show/show-file.ts';
import { Troupe } from './troupe.ts';

function showOf(timeline: unknown[]): ShowFile {
  return showSchemas().showFile.parse({
    ...{ sinewShow: 1, name: 'foyer', leadS: 2 },
    props: { left: { file: 'a.yaml' }, right: { file: 'b.yaml' } },
    groups: { birds: ['left', 'right'] },
    timeline,
  });
}

/** Plays on the troupe's clock; `end` ends it, as a conductor that dies. */
function play(troupe: Troupe, show: ShowFile, conductor: Conductor, startMs: number, run = 'run') {
  const steps: PlayedStep[] = [];
  let ended = false;
  const timer = {
    sleepUntil: (ms: number) =>
      new Promise<boolean>((resolve) => {
        troupe.clock.after(ms - troupe.clock.nowMs(), () => resolve(!ended));
      }),
  };
  const over = playShow(show, conductor, { startMs, run, timer }, (step) => steps.push(step));
  const end = () => {
    ended = true;
    conductor.close();
    troupe.conductors.splice(troupe.conductors.indexOf(conductor), 1);
  };
  return { steps, over, end };
}
const startsOf = (troupe: Troupe, name: string, fromMs: number) =>
  troupe.get(name).started.map(({ cue, atMs }) => [cue, atMs - fromMs]);

describe('the timeline of a show', () => {
  const show = showOf([
    { at: 0, go: { birds: 'nod' } },
    { at: 3, go: { right: 'blink' } },
    { at: 5, park: ['left'] },
  ]);

  test('starts cues at their time, sent ahead, and parks at its time', async () => {
    const troupe = new Troupe('left', 'right');
    const conductor = troupe.conductor();
    const fromMs = troupe.clock.nowMs() + 2500;
    const { steps, over } = play(troupe, show, conductor, fromMs);
    await troupe.run(9000);
    await over;
    expect(startsOf(troupe, 'left', fromMs)).toEqual([['nod', 0]]);
    expect(startsOf(troupe, 'right', fromMs)).toEqual([
      ['nod', 0],
      ['blink', 3000],
    ]);
    const park = troupe.sent.find(({ command }) => command.act === 'park')!;
    expect(park.command.sentMs - fromMs).toBe(5000);
    expect(steps.map(({ act, replies }) => [act, replies.map(({ outcome }) => outcome)])).toEqual([
      ['go', ['waits', 'waits']],
      ['go', ['waits']],
      ['park', ['done']],
    ]);
  });

  test('played by two conductors, or again by one that was started again, starts nothing twice', async () => {
    const troupe = new Troupe('left', 'right');
    const fromMs = troupe.clock.nowMs() + 2500;
    const first = play(troupe, show, troupe.conductor(), fromMs);
    const second = play(troupe, show, troupe.conductor(), fromMs);
    await troupe.run(1000);
    // The first dies after the first cue was sent; another takes its place.
    first.end();
    const third = play(troupe, show, troupe.conductor(), fromMs);
    await troupe.run(9000);
    await Promise.all([second.over, third.over]);
    expect(startsOf(troupe, 'left', fromMs)).toEqual([['nod', 0]]);
    expect(startsOf(troupe, 'right', fromMs)).toEqual([
      ['nod', 0],
      ['blink', 3000],
    ]);
    expect(troupe.get('left').heard.filter(({ act }) => act === 'park')).toHaveLength(1);
  });

  test('leaves out what is due while the broker is away, and does not make up for it', async () => {
    const troupe = new Troupe('left', 'right');
    const conductor = troupe.conductor();
    const fromMs = troupe.clock.nowMs() + 2500;
    const { steps, over } = play(troupe, show, conductor, fromMs);
    await troupe.run(1500);
    troupe.brokerIsAway = true;
    await troupe.run(5300);
    troupe.brokerIsAway = false;
    await troupe.run(4000);
    await over;
    expect(steps.map(({ act, leftOut }) => [act, leftOut])).toContainEqual(['go', 'broker']);
    expect(startsOf(troupe, 'right', fromMs)).toEqual([['nod', 0]]);
    // Parking is due when it is back.
    expect(troupe.get('left').heard.map(({ act }) => act)).toEqual(['go', 'park']);
  });

  test.each([
    ['skip', ['nod', 'blink']],
    ['end', ['nod']],
  ])('with a condition that does not hold: otherwise %s', async (otherwise, cues) => {
    const troupe = new Troupe('left', 'right');
    troupe.get('left').status.armed = false;
    const conductor = troupe.conductor();
    const conditional = showOf([
      { at: 0, go: { right: 'nod' } },
      { at: 1, go: { right: 'nod' }, only: [{ prop: 'left', is: 'armed' }], otherwise },
      { at: 2, go: { right: 'blink' }, only: [{ prop: 'left', is: 'armed', not: true }] },
    ]);
    const { over } = play(troupe, conditional, conductor, troupe.clock.nowMs() + 2500);
    await troupe.run(8000);
    await over;
    expect(troupe.get('right').started.map(({ cue }) => cue)).toEqual(cues);
  });

  test('believes nothing of a prop that is gone, not even that something does not run there', async () => {
    const troupe = new Troupe('left', 'right');
    const conductor = troupe.conductor();
    const gone = { v: 1, prop: 'left', gone: true };
    troupe.toConductors('sinew/foyer/prop/left/status', JSON.stringify(gone));
    const conditional = showOf([
      { at: 0, go: { right: 'nod' }, only: [{ prop: 'left', runs: 'nod', not: true }] },
      { at: 1, go: { right: 'blink' }, only: [{ prop: 'left', is: 'here', not: true }] },
    ]);
    const { over } = play(troupe, conditional, conductor, troupe.clock.nowMs() + 2500);
    await troupe.run(6000);
    await over;
    expect(troupe.get('right').started.map(({ cue }) => cue)).toEqual(['blink']);
  });
});
