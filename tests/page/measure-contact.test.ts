import { describe, expect, it } from 'vitest';
import { contactVerdict, exchangedOutputs } from '../../src/gateway/page/measure-contact.ts';
import { measuredEdit } from '../../src/gateway/page/measured.ts';
import { measuredInfo } from '../../src/prop/kinds/measured.ts';
import { editProp, parseProp } from '../../src/prop/load.ts';
import { channelInfos } from './channel-infos.ts';

const text = (activeLow: boolean, contact: string) => `sinew: 1
name: Test
boards: { head: { driver: sim } }
channels:
  fan: { kind: relay, output: { board: head, pin: 7, activeLow: ${activeLow} }, contact: ${contact} }
  mist: { kind: relay, output: { board: head, pin: 8 } }
`;
const NO = '{ common: K1-1, open: K1-2 }';
const NC = '{ common: K1-1, closed: K1-2 }';

/**
 * A relay as its wires make it: the coil has current while the pin has the level that switches it, and its
 * contact joins COM to NO then, and to NC otherwise (IEC 61810-1: make and break contact; from memory).
 */
function seenOf(file: { activeLow: boolean }, real: { activeLow: boolean; nc: boolean }) {
  const load = (coil: boolean) => coil !== real.nc;
  const coilAt = (on: boolean) => {
    const high = on !== file.activeLow;
    return high !== real.activeLow;
  };
  return { whileOff: load(coilAt(false)), whileOn: load(coilAt(true)), unplugged: load(false) };
}

const both = [false, true];
describe('every way in which a relay may be wired, and every way in which the file may have it', () => {
  for (const realLow of both)
    for (const realNc of both)
      for (const fileLow of both)
        for (const fileNc of both) {
          const name = `real ${realLow ? 'low' : 'high'} ${realNc ? 'NC' : 'NO'}, file ${fileLow ? 'low' : 'high'} ${fileNc ? 'NC' : 'NO'}`;
          it(name, () => {
            const source = text(fileLow, fileNc ? NC : NO);
            const info = channelInfos(source).fan!;
            const seen = seenOf({ activeLow: fileLow }, { activeLow: realLow, nc: realNc });
            const verdict = contactVerdict('fan', info, seen);
            const isRight = realLow === fileLow && realNc === fileNc;
            expect(verdict.isRight).toBe(isRight);
            expect(verdict.edits.length === 0).toBe(isRight);
            // Whatever the file says: what is fed without the coil is fed while nothing watches.
            expect(verdict.caution !== undefined).toBe(realNc);
            // With the edits the file is as the wires are, and then the same relay is right.
            const after = editProp(parseProp(source, 'a.yaml'), verdict.edits);
            const fan = after.prop?.channels.fan;
            if (fan?.kind !== 'relay') throw new Error(JSON.stringify(after.findings));
            expect(fan.output.activeLow).toBe(realLow);
            expect(fan.contact).toMatchObject(
              realNc ? { common: 'K1-1', closed: 'K1-2' } : { common: 'K1-1', open: 'K1-2' },
            );
            const again = seenOf({ activeLow: realLow }, { activeLow: realLow, nc: realNc });
            expect(contactVerdict('fan', channelInfos(after.text).fan!, again).isRight).toBe(true);
          });
        }
});

it('without terminals in the file, a load on NC is for the wires to put right', () => {
  const info = channelInfos(text(false, 'held')).fan!;
  const verdict = contactVerdict('fan', info, { whileOff: true, whileOn: false, unplugged: true });
  expect(verdict).toMatchObject({ isRight: false, edits: [] });
  expect(verdict.says).toContain('Move its wire to NO');
  expect(verdict.caution).toContain('when the program has died');
});

it('two faults that cancel each other are seen all the same', () => {
  // Off is dark and on is lit, as it should be; but with the program dead it would be lit.
  const info = channelInfos(text(false, 'held')).fan!;
  const seen = { whileOff: false, whileOn: true, unplugged: true };
  expect(contactVerdict('fan', info, seen)).toMatchObject({
    isRight: false,
    edits: [{ path: ['channels', 'fan', 'output', 'activeLow'], value: true }],
  });
});

it.each([
  [true, 'welded'],
  [false, 'its supply'],
])('a load that is always %s does not count as a measurement', (always, word) => {
  const info = channelInfos(text(false, NO)).fan!;
  for (const unplugged of both) {
    const seen = { whileOff: always, whileOn: always, unplugged };
    const verdict = contactVerdict('fan', info, seen);
    expect(verdict).toMatchObject({ isRight: false, edits: [] });
    expect(verdict.says).toContain(word);
  }
});

it('the note counts for this contact, and not for the other one', () => {
  const source = text(false, NO);
  const note = measuredEdit('fan', 'contact', channelInfos(source).fan!, '2026-11-26');
  const { prop, text: noted } = editProp(parseProp(source, 'a.yaml'), [note]);
  expect(measuredInfo(prop!.channels.fan!)).toEqual({ contact: '2026-11-26' });
  for (const [was, is] of [
    ['open: K1-2', 'closed: K1-2'],
    ['activeLow: false', 'activeLow: true'],
    ['pin: 7', 'pin: 9'],
  ] as const) {
    const changed = parseProp(noted.replace(was, is), 'a.yaml').prop!;
    expect(measuredInfo(changed.channels.fan!), is).toEqual({ contact: null });
  }
});

it('two relays exchange all that belongs to their pins, and the file stays valid', () => {
  const source = text(true, 'held');
  const { fan, mist } = channelInfos(source);
  const edits = exchangedOutputs(['fan', fan!], ['mist', mist!]);
  const { prop, findings } = editProp(parseProp(source, 'a.yaml'), edits);
  expect(findings.filter(({ severity }) => severity === 'error')).toEqual([]);
  expect(prop!.channels.fan!.output).toEqual({ board: 'head', pin: 8, activeLow: false });
  expect(prop!.channels.mist!.output).toEqual({ board: 'head', pin: 7, activeLow: true });
});
