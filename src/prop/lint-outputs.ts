import type { PinUse } from '../boards/facts.ts';
import { factsOf } from '../boards/registry.ts';
import { tidy } from '../shared/units.ts';
import { relayOf, servoOf } from './kinds/channel.ts';
import { activeLow, switchedOf } from './kinds/polarity.ts';
import { kindOf } from './kinds/registry.ts';
import { throughOf } from './kinds/through.ts';
import type { Notes } from './notes.ts';
import type { Prop } from './schema.ts';

/** Checks what may be connected to which board and pin. */
export function lintOutputs(notes: Notes): void {
  for (const [name, board] of Object.entries(notes.prop.boards))
    factsOf(board).lintBoard?.(name, board, notes);
  const takenBy = new Map<string, string>();
  for (const use of usesIn(notes)) {
    const board = notes.find('boards', use.board, use.boardPath);
    if (notes.given.broken(use.path) || notes.given.broken(use.boardPath)) continue;
    const space = board ? factsOf(board).pinSpace(use.board) : `board ${use.board}`;
    const place = `${space} ${use.pin}`;
    const other = takenBy.get(place);
    if (other !== undefined)
      notes.error(use.path, `pin ${use.pin} is taken by ${other}`, 'give each its own pin');
    else takenBy.set(place, use.owner);
    if (board) factsOf(board).lintPin(use, board, notes);
  }
  lintFlicker(notes);
}

/** Every use of a pin in a sound prop. */
export function pinUses(prop: Prop): Generator<PinUse> {
  return usesIn({ prop, given: { broken: () => false } });
}

function* usesIn({
  prop,
  given,
}: Pick<Notes, 'prop'> & { given: Pick<Notes['given'], 'broken'> }): Generator<PinUse> {
  if (prop.stopInput) {
    const { board, pin } = prop.stopInput;
    const [path, boardPath] = [
      ['stopInput', 'pin'],
      ['stopInput', 'board'],
    ];
    yield { board, pin, path, boardPath, owner: 'stopInput', input: 'the stop button' };
  }
  if (prop.lockoutInput) {
    const { board, pin } = prop.lockoutInput;
    const [path, boardPath] = [
      ['lockoutInput', 'pin'],
      ['lockoutInput', 'board'],
    ];
    yield { board, pin, path, boardPath, owner: 'lockoutInput', input: 'the key switch' };
  }
  for (const [name, { board, pin }] of Object.entries(prop.guards)) {
    const [path, boardPath] = [
      ['guards', name, 'pin'],
      ['guards', name, 'board'],
    ];
    yield { board, pin, path, boardPath, owner: `guard ${name}`, input: 'the contact' };
  }
  for (const [name, sense] of Object.entries(prop.senses)) {
    if (sense.kind !== 'contact') continue;
    const { board, pin } = sense;
    const [path, boardPath] = [
      ['senses', name, 'pin'],
      ['senses', name, 'board'],
    ];
    yield { board, pin, path, boardPath, owner: `sense ${name}`, input: 'the contact' };
  }
  for (const [name, channel] of Object.entries(prop.channels)) {
    const at = ['channels', name, 'output'];
    const boardPath = [...at, 'board'];
    const { board } = channel.output;
    const { needs, outputs } = kindOf(channel);
    const [relay, servo] = [relayOf(channel), servoOf(channel)];
    for (const { pin, at: place, colour } of outputs(channel)) {
      const owner = colour ? `${name}.${colour}` : name;
      const use: PinUse = { board, pin, path: [...at, ...place], boardPath, owner };
      if (needs) use.needs = needs;
      const switched = switchedOf(channel);
      const through = switched && throughOf(switched);
      if (switched && !['output', 'through'].some((key) => given.broken(['channels', name, key]))) {
        const { pull } = switched.output;
        const how = { activeLow: activeLow(switched), pull };
        if (relay) use.relay = { ...how, safe: relay.safe };
        else if (through !== 'nothing') use.light = how;
      }
      if (servo) {
        const from = servo.envelopeUs ? 'envelopeUs' : 'calibration';
        const path = ['channels', name, from];
        const us = servo.envelopeUs ?? servo.calibration.map(([us]) => us);
        if (!given.broken(path)) use.pulses = { us: [Math.min(...us), Math.max(...us)], path };
      }
      yield use;
    }
  }
  for (const [name, board] of Object.entries(prop.boards)) {
    const enable = factsOf(board).enable?.(board);
    if (!enable) continue;
    const at = ['boards', name, 'enable'];
    const [path, boardPath] = [
      [...at, 'pin'],
      [...at, 'board'],
    ];
    const owner = `the output-enable pin of board ${name}`;
    yield { ...enable, path, boardPath, owner, enables: name };
  }
  for (const [name, { input }] of Object.entries(prop.triggers)) {
    if (!input) continue;
    const at = ['triggers', name, 'input'];
    const [path, boardPath] = [
      [...at, 'pin'],
      [...at, 'board'],
    ];
    const { board, pin } = input;
    const owner = `trigger ${name}`;
    yield { board, pin, path, boardPath, owner, input: 'the contact' };
  }
}

/**
 * Slower PWM visibly flickers, and light that goes on and off about 3 to 60 times a second can cause
 * seizures (IEEE 1789-2015, from memory). A flash guard sees only the requested levels, not the PWM.
 */
const MIN_LIGHT_HZ = 100;

/** All outputs of a pca9685 share one frequency, and servos need a low one. */
function lintFlicker(notes: Notes): void {
  const { boards, channels } = notes.prop;
  for (const [name, channel] of Object.entries(channels)) {
    const { light } = kindOf(channel);
    if (!light?.flicker) continue;
    const accepted = light.flicker(channel);
    const at = ['channels', name];
    const board = boards[channel.output.board];
    const hz = board && factsOf(board).lightHz(board);
    if (hz === undefined || notes.given.broken(['boards', channel.output.board])) continue;
    if (accepted && hz >= MIN_LIGHT_HZ)
      notes.warning(
        [...at, 'flicker'],
        `${name} has PWM of ${tidy(hz, 1)} Hz: there is no flicker to accept`,
        'remove it',
      );
    if (accepted || notes.given.broken([...at, 'flicker']) || hz >= MIN_LIGHT_HZ) continue;
    notes.error(
      [...at, 'output', 'board'],
      `at the ${tidy(hz, 1)} Hz of board ${channel.output.board} this light flickers, which can set off seizures`,
      'put lights on their own pca9685, with frequencyHz: 1000, or say why it may flicker: flicker: { accepted: true, reason: ... }',
    );
  }
}
