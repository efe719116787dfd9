import { describe, expect, it } from 'vitest';
import { makeProp, Rig, relay, restedAt, servo } from '../rig.ts';

// `parked` is said of a parked prop alone.

const prop = makeProp({ neck: servo(), jaw: servo(), fan: relay() });
const lastCondition = (rig: Rig) => rig.entries.findLast(({ what }) => what === 'condition')?.text;

describe('at rest, not parked', () => {
  it('a prop that never ran: nobody knows where its servos stand', async () => {
    const rig = await Rig.open(prop);
    const why = 'nobody knows where neck and jaw stand';
    expect(rig.core.shown).toEqual({ condition: 'parked', notParked: why });
    expect(rig.core.safety.notParked).toBe(why);
  });

  it('a prop that was parked before is parked', async () => {
    const rig = await Rig.open(prop, { restored: restedAt(prop) });
    expect(rig.core.shown).toEqual({ condition: 'parked' });
    expect(rig.core.safety.notParked).toBeNull();
  });

  it('after a stop away from rest and the reset, until it has been parked', async () => {
    const { rig, client } = await Rig.live(prop);
    await client.call('channel.move', { channel: 'neck', to: 40 });
    await rig.run(3000);
    await client.call('stop', { category: 0 });
    expect(rig.core.shown).toEqual({ condition: 'stopped' });
    await rig.run(2100);
    const why = 'nobody knows where neck stands';
    expect(await client.call('reset')).toEqual({ condition: 'parked', notParked: why });
    expect(lastCondition(rig)).toMatch(new RegExp(`^at rest, not parked: ${why}`));
    // Parking moves no servo that stands nobody knows where.
    const parked = client.call('park', { wait: true });
    await rig.run(3000);
    expect(await parked).toEqual({ condition: 'parked', notParked: why });

    await client.call('wake', { confirm: 'unknown' });
    await rig.until(() => rig.core.condition === 'live');
    const again = client.call('park', { wait: true });
    await rig.run(3000);
    expect(await again).toEqual({ condition: 'parked' });
    expect(lastCondition(rig)).toBe('parked');
  });

  it('a servo that is held away from its park position after a stop of category 2', async () => {
    const { rig, client } = await Rig.live(prop);
    await client.call('channel.move', { channel: 'neck', to: 40 });
    await rig.run(3000);
    await client.call('stop', { category: 2 });
    await rig.run(2100);
    expect(await client.call('reset')).toEqual({
      condition: 'parked',
      notParked: 'neck is at 40 deg',
    });
  });

  it('names a few of many', async () => {
    const many = Object.fromEntries(Array.from({ length: 7 }, (_, i) => [`s${i}`, servo()]));
    const rig = await Rig.open(makeProp(many));
    expect(rig.core.safety.notParked).toBe('nobody knows where s0, s1, s2, s3 and 3 others stand');
  });
});
