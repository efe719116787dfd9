import { factsOf } from '../boards/registry.ts';
import { boardConnectors } from '../prop/board-connectors.ts';
import { kindOf } from '../prop/kinds/registry.ts';
import { splitEnd } from '../prop/loom-words.ts';
import type { Change } from './change.ts';
import { type Draft, refuse } from './draft.ts';
import { choosePins, usesOf } from './pins.ts';
import { wiresIn } from './references.ts';
import { soundCardFor } from './sound-card.ts';
import { mustBeFreeCavity, wireCalled } from './wires.ts';

const POWER_OFF = 'Switch off and unplug the supply before you move a wire.';

/** Plans a move: a channel to other pins, another rail or stage, a wire to another cavity. @throws Refusal `change.refused` */
export function move(draft: Draft, change: Change & { do: 'move' }): void {
  switch (change.what) {
    case 'channel':
      moveChannel(draft, change);
      break;
    case 'stage':
      moveToStage(draft, change.name, change.stage);
      break;
    case 'wire':
      moveWire(draft, change);
  }
}

/** Another order of entries, or of the stages of parking. */
export function order(draft: Draft, change: Change & { do: 'order' }): void {
  if (change.what === 'stage') {
    draft.place(['park', 'stages', change.stage], change.place);
    return;
  }
  const section = `${change.what}s`;
  draft.mustHave(change.what, section, change.name);
  const last = Object.keys(draft.section(section)).length - 1;
  if (change.place > last) refuse(`there are places 0 to ${last}; give one of them`, []);
  draft.place([section, change.name], change.place);
}

function moveChannel(
  draft: Draft,
  { name, board, pins, rail }: Change & { do: 'move'; what: 'channel' },
): void {
  draft.mustHave('channel', 'channels', name);
  const spec = draft.prop.channels[name]!;
  if (board === undefined && pins === undefined && rail === undefined)
    refuse('it is not said where it goes; give a board, pins or a rail', []);
  if (rail !== undefined) moveToRail(draft, name, rail);
  if (board === undefined && pins === undefined) return;
  const before = usesOf(draft.prop, name);
  const [first] = before;
  if (!first) {
    if (pins) refuse(`${name} has no pins: it is on a sound card; give a board only`, []);
    draft.set(['channels', name, 'output', 'board'], soundCardFor(draft, board));
    return;
  }
  const wish = { board: board ?? spec.output.board, pins };
  const choice = choosePins(draft.prop, [first.use], before.length, wish, name);
  const at = ['channels', name, 'output'];
  if (choice.board !== spec.output.board) draft.set([...at, 'board'], choice.board);
  for (const [i, { at: place }] of kindOf(spec).outputs(spec).entries())
    draft.set([...at, ...place], choice.pins[i]);
  const words = factsOf(draft.prop.boards[choice.board]!);
  const places = choice.pins.map((pin) => `${words.word} ${pin}`).join(', ');
  draft.because(
    `${name}: ${choice.pins.length > 1 ? 'pins' : 'pin'}`,
    `${choice.board} ${choice.pins.join(' ')}`,
    pins ? 'you chose it' : 'the first that is free and that check has nothing to say against',
  );
  if (choice.remark !== undefined) draft.cautions.push(`${places}: ${choice.remark}.`);
  if (kindOf(spec).moves)
    draft.cautions.push(
      `Where ${name} stands is not known on another pin: at the next wake a person confirms, and it swings to its park position at its own speed.`,
    );
  followPins(draft, name, choice);
}

/** The cores that end at its pins end at the others from then on. */
function followPins(draft: Draft, name: string, choice: { board: string; pins: number[] }): void {
  const { prop } = draft;
  const { board } = prop.channels[name]!.output;
  const facts = factsOf(prop.boards[board]!);
  const after = factsOf(prop.boards[choice.board]!);
  const connectors = boardConnectors(prop);
  const to = [...connectors].find(([, one]) => one === choice.board)?.[0];
  const cavities = new Map(
    usesOf(prop, name).map(({ pin }, i) => [facts.cavityOf(pin), after.cavityOf(choice.pins[i]!)]),
  );
  for (const { label, path, cores } of wiresIn(draft.raw))
    for (const [i, core] of cores.entries())
      for (const end of ['from', 'to'] as const) {
        const { connector, cavity } = splitEnd(core[end]);
        if (connectors.get(connector) !== board || !cavities.has(Number(cavity))) continue;
        const next = cavities.get(Number(cavity));
        if (to === undefined || next === undefined) {
          draft.cautions.push(
            `Wire ${label} still ends at ${core[end]}: board ${choice.board} has no connector in the file. Say in the loom where it goes.`,
          );
          continue;
        }
        const place = `${choice.board === board ? connector : to}-${next}`;
        draft.set([...path, 'cores', i, end], place);
        draft.touch(`wire ${label}: ${core.role} to ${place}, not ${core[end]}`);
        if (!draft.cautions.includes(POWER_OFF)) draft.cautions.push(POWER_OFF);
      }
}

function moveToRail(draft: Draft, name: string, rail: string): void {
  draft.mustHave('rail', 'rails', rail);
  const was = draft.prop.channels[name]!.rail;
  if (was === rail) refuse(`${name} draws from ${rail} already; give another rail`, []);
  draft.set(['channels', name, 'rail'], rail);
  const [from, to] = [
    was === undefined ? undefined : draft.prop.rails[was],
    draft.prop.rails[rail]!,
  ];
  if (from && from.volts !== to.volts)
    draft.cautions.push(
      `${rail} has ${to.volts} V, ${was} ${from.volts} V: look up in the data sheet of ${name} that it stands that.`,
    );
  if (wiresIn(draft.raw).some(({ own }) => own === name))
    draft.cautions.push(
      `${POWER_OFF} The plus and return of ${name} still end where they did; move them in the loom as well.`,
    );
}

/** Out of the stage that it is in, and into another, or a new one behind the last. */
function moveToStage(draft: Draft, name: string, stage: number): void {
  if (!draft.movable.includes(name))
    refuse(`there is no channel or group ${name}; give one that there is`, []);
  const { stages = [] } = (draft.raw.park ?? {}) as { stages?: string[][] };
  const from = stages.findIndex((one) => one.includes(name));
  if (stage > stages.length || stage < -1)
    refuse(`there are stages 1 to ${stages.length}, and a new one behind them`, []);
  if (from === stage) refuse(`${name} is there already; give another stage`, []);
  if (stage === stages.length)
    draft.set(
      stages.length === 0 ? ['park', 'stages'] : ['park', 'stages', stage],
      stages.length === 0 ? [[name]] : [name],
    );
  else if (stage >= 0) draft.set(['park', 'stages', stage, stages[stage]!.length], name);
  if (from >= 0) {
    const own = stages[from]!;
    const alone = own.length === 1;
    if (alone && stages.length === 1 && stage < 0) draft.remove(['park', 'stages']);
    else draft.remove(['park', 'stages', from, ...(alone ? [] : [own.indexOf(name)])]);
  }
  draft.touch(
    stage < 0 ? `${name} parks last, with what no stage names` : `park stage ${stage + 1}`,
  );
}

function moveWire(
  draft: Draft,
  { name, core, end, to }: Change & { do: 'move'; what: 'wire' },
): void {
  const { path, cores } = wireCalled(draft, name);
  const own = cores[core];
  if (!own) refuse(`wire ${name} has cores 1 to ${cores.length}; give one of them`, []);
  if (own[end] === to) refuse(`it ends at ${to} already; give another cavity`, []);
  mustBeFreeCavity(wiresIn(draft.raw), to, own);
  draft.set([...path, 'cores', core, end], to);
  draft.touch(`wire ${name}: ${own.role} to ${to}, not ${own[end]}`);
  draft.cautions.push(POWER_OFF);
}
