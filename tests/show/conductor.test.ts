import { describe, expect, test } from 'vitest';
import { Conductor, problemsOf, stepId } from '../../src/show/conductor.ts';
import { topics } from '../../src/show/wire.ts';
import { Actor, Troupe } from './troupe.ts';

describe('a conductor', () => {
  test('names those that the broker does not let it command, and reaches the others one by one', async () => {
    const troupe = new Troupe('left', 'right');
    const barred = new Set([topics.allCommand('foyer'), topics.command('foyer', 'right')]);
    const sent: string[] = [];
    const conductor = new Conductor({
      ...{ show: 'foyer', from: 'desk', clock: troupe.clock },
      send: (topic, _payload, taken) => {
        sent.push(topic);
        troupe.clock.after(5, () => taken?.(!barred.has(topic)));
        return true;
      },
    });
    const outcomes = async () => {
      const asked = conductor.ask({ act: 'park' }, ['left', 'right'], 2000, { all: true });
      await troupe.run(2100);
      return (await asked).map(({ outcome }) => outcome);
    };
    expect(await outcomes()).toEqual(['silent', 'barred']);
    expect(sent.filter((topic) => topic === topics.command('foyer', 'right'))).toHaveLength(1);
    // The rights may have been put right meanwhile.
    barred.clear();
    expect(await outcomes()).toEqual(['silent', 'silent']);
    expect([...conductor.barred]).toEqual([]);
    conductor.close();
  });

  test('says that it hears nothing, though what the broker keeps should have come', () => {
    const troupe = new Troupe();
    const conductor = troupe.conductor();
    expect(conductor.hearsNothing).toBe(false);
    troupe.clock.advance(3100);
    expect(conductor.hearsNothing).toBe(true);
    new Actor('left', troupe).say();
    troupe.clock.advance(10);
    expect(conductor.hearsNothing).toBe(false);
  });

  test('keeps the statuses of 2000 props at most', () => {
    const troupe = new Troupe();
    const conductor = troupe.conductor();
    for (let i = 0; i < 2100; i++) new Actor(`p${i}`, troupe).say();
    troupe.clock.advance(10);
    expect(conductor.statuses.size).toBe(2000);
    expect(conductor.present('p0')).toBeDefined();
  });

  test('hears how props are, and gives them its time', () => {
    const troupe = new Troupe('left', 'right');
    const conductor = troupe.conductor();
    expect([...conductor.statuses.keys()].sort()).toEqual(['left', 'right']);
    expect(conductor.isKnownTo(['left', 'right'])).toBe(true);
    expect(conductor.isKnownTo(['left', 'third'])).toBe(false);
  });

  test('believes no prop that speaks for another', async () => {
    const troupe = new Troupe('left', 'right');
    const conductor = troupe.conductor();
    const { status } = troupe.get('left');
    troupe.toConductors(
      topics.status('foyer', 'right'),
      JSON.stringify({ ...status, armed: false }),
    );
    troupe.toConductors(topics.status('foyer', 'left'), '{"v":1}');
    await troupe.run(20);
    expect(conductor.present('left')?.armed).toBe(true);
    expect(conductor.present('right')?.armed).toBe(true);
  });

  test('reaches all with one message, and names those that do not answer', async () => {
    const troupe = new Troupe('left', 'right', 'top');
    const conductor = troupe.conductor();
    troupe.get('top').deaf = true;
    const replies = await troupe.asked(
      conductor,
      { act: 'stop', category: 1 },
      ['left', 'right', 'top'],
      true,
    );
    expect(replies.map(({ prop, outcome }) => [prop, outcome])).toEqual([
      ['left', 'done'],
      ['right', 'done'],
      ['top', 'silent'],
    ]);
    expect(troupe.sent[0]!.topic).toBe(topics.allCommand('foyer'));
    // Only the one that has not answered is asked again.
    expect(new Set(troupe.sent.slice(1).map(({ topic }) => topic))).toEqual(
      new Set([topics.command('foyer', 'top')]),
    );
    expect(troupe.get('left').heard).toHaveLength(1);
  });

  test('asks again for a lost answer with the same id, so that nothing is done twice', async () => {
    const troupe = new Troupe('left');
    const conductor = troupe.conductor();
    const left = troupe.get('left');
    left.mute = true;
    const atMs = troupe.clock.nowMs() + 2000;
    const asked = conductor.ask({ act: 'go', cue: 'nod', atMs }, ['left'], 4000);
    await troupe.run(1000);
    left.mute = false;
    await troupe.run(2000);
    expect((await asked)[0]).toMatchObject({ prop: 'left' });
    expect((await asked)[0]!.outcome).toMatch(/waits|done/);
    expect([left.heard.length, left.started.length]).toEqual([1, 1]);
  });

  test('says what is refused, and that nothing was sent where the broker is away', async () => {
    const troupe = new Troupe('left');
    const conductor = troupe.conductor();
    troupe.get('left').refuses = 'the prop is not armed';
    expect(await troupe.asked(conductor, { act: 'park' }, ['left'])).toEqual([
      expect.objectContaining({ outcome: 'refused', reason: 'the prop is not armed' }),
    ]);
    troupe.brokerIsAway = true;
    const before = troupe.sent.length;
    const [reply] = await troupe.asked(conductor, { act: 'park' }, ['left']);
    expect(reply!.outcome).toBe('unsent');
    troupe.brokerIsAway = false;
    await troupe.run(5000);
    expect(troupe.sent).toHaveLength(before);
  });

  test('has ids that depend on show, run, step and prop alone', () => {
    expect(stepId('foyer', 'r', 0, 'left')).toBe(stepId('foyer', 'r', 0, 'left'));
    const ids = [
      stepId('foyer', 'r', 0, 'left'),
      stepId('foyer', 'r', 0, 'right'),
      stepId('foyer', 'r', 1, 'left'),
      stepId('foyer', 's', 0, 'left'),
      stepId('garden', 'r', 0, 'left'),
    ];
    expect(new Set(ids).size).toBe(5);
    for (const id of ids) expect(id).toMatch(/^[A-Za-z0-9_-]{8,64}$/);
  });

  test('knows what is not as it should be, the worst first', () => {
    const { status } = new Troupe('left').get('left');
    expect(problemsOf(status, true)).toEqual([]);
    expect(problemsOf(undefined, true)).toEqual(['it does not answer']);
    const cause = { code: 'stop', who: 'guest', words: 'guest pressed Stop' };
    expect(
      problemsOf({ ...status, lockout: true, condition: 'stopped', cause, armed: false }, false),
    ).toEqual([
      'hands in the prop: it is locked',
      'stopped: guest pressed Stop',
      'not armed',
      "it is not in the show's file",
    ]);
  });

  test('says that maintenance is due after all that is wrong', () => {
    const { status } = new Troupe('left').get('left');
    const wear = { travelDeg: 1000, onH: 2.5, due: 0 };
    expect(problemsOf({ ...status, wear }, true)).toEqual([]);
    expect(
      problemsOf({ ...status, wear: { ...wear, due: 2 }, problems: ['guard mat is broken'] }, true),
    ).toEqual(['guard mat is broken', 'maintenance is due: 2 of its channels']);
  });

  test('says once what the prop says itself', () => {
    const { status } = new Troupe('left').get('left');
    // In the words of the prop: startup/show-door.ts and core/sense-watch.ts.
    const problems = [
      'stopped: guest pressed Stop',
      'hands are in the prop (guest: a wire is loose)',
      'accu is below 10.5 V; the prop does not wake',
    ];
    const battery = { sense: 'accu', volts: 10.2, low: true };
    expect(
      problemsOf({ ...status, condition: 'stopped', lockout: true, battery, problems }, true),
    ).toEqual(problems);
  });
});
