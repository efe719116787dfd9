import type { Measures } from '../boards/facts.ts';
import { factsOf } from '../boards/registry.ts';
import { tidy } from '../shared/units.ts';
import type { Path } from './finding.ts';
import type { Notes } from './notes.ts';
import { dividerFactor, senseLimits, sensePoints, senseQuantity } from './senses.ts';
import type { SenseEntry } from './senses-schema.ts';

type Analogue = Exclude<SenseEntry, { kind: 'contact' }>;

/** Checks what is measured: the board and its input, what it belongs to, its scale and its limits. */
export function lintSenses(notes: Notes): void {
  const takenBy = new Map<string, string>();
  for (const [name, sense] of Object.entries(notes.prop.senses)) {
    const at = ['senses', name];
    // The board and pin of a contact are checked with those of all inputs.
    if (sense.kind === 'contact') continue;
    lintPlace(notes, at, sense);
    const board = notes.find('boards', sense.board, [...at, 'board']);
    const measures = board && factsOf(board).measures;
    if (board && !measures)
      notes.error(
        [...at, 'board'],
        `board ${sense.board} (${board.driver}) measures nothing`,
        'name a board that does, such as an ina226 or an ads1115',
      );
    if (measures) lintInput(notes, at, name, sense, measures, takenBy);
    lintScale(notes, at, sense, measures);
    lintLimits(notes, at, sense);
  }
}

/** What it is the current, voltage or angle of. */
function lintPlace(notes: Notes, at: Path, sense: Analogue): void {
  const rail = 'rail' in sense ? sense.rail : undefined;
  const channel = 'channel' in sense ? sense.channel : undefined;
  if (rail !== undefined) notes.find('rails', rail, [...at, 'rail']);
  if (channel === undefined) return;
  const path = [...at, 'channel'];
  const found = notes.find('channels', channel, path);
  if (found && sense.kind === 'position' && found.kind !== 'servo')
    notes.error(path, `${channel} is a ${found.kind}, which has no angle`, 'name a servo');
  if (rail !== undefined)
    notes.error(path, 'both a rail and a channel are given', 'give the one whose current it is');
}

function lintInput(
  notes: Notes,
  at: Path,
  name: string,
  sense: Analogue,
  { inputs = 0, meter }: Measures,
  takenBy: Map<string, string>,
): void {
  const { board, input } = sense;
  const path = [...at, input === undefined ? 'board' : 'input'];
  if (notes.given.broken([...at, 'input'])) return;
  if (input === undefined && !meter) {
    notes.error(
      path,
      `board ${board} has analogue inputs only`,
      'give the input, such as input: 0',
    );
    return;
  }
  if (input !== undefined && input >= inputs) {
    notes.error(
      path,
      inputs === 0
        ? `board ${board} has no analogue inputs`
        : `board ${board} has no input ${input}`,
      inputs === 0 ? 'leave out input' : `use 0 to ${inputs - 1}`,
    );
    return;
  }
  const place = JSON.stringify([board, input === undefined ? senseQuantity(sense) : input]);
  const other = takenBy.get(place);
  if (other === undefined) takenBy.set(place, name);
  else
    notes.error(
      path,
      input === undefined
        ? `${other} is the ${sense.kind} of this board`
        : `${other} has input ${input}`,
      'give each its own input, or a board of its own',
    );
}

/** Calibration, divider and the voltage that reaches the input. */
function lintScale(notes: Notes, at: Path, sense: Analogue, measures: Measures | undefined): void {
  if ('calibration' in sense && sense.calibration) {
    const path = [...at, 'calibration'];
    if (notes.given.broken(path)) return;
    if (sense.input === undefined)
      notes.error(path, 'a meter needs no points', 'leave it out, or use gain and offset');
    const points = sensePoints(sense);
    const steps = points
      .slice(1)
      .map(([raw, value], i) => [raw - points[i]![0], value - points[i]![1]]);
    const sign = Math.sign(steps[0]![1]!);
    if (steps.some(([raw, value]) => !(raw! > 0) || !(value! * sign > 0)))
      notes.error(
        path,
        'the points are not strictly monotonic: two have the same voltage, or the value turns back',
        'give points whose values rise, or fall, all the way',
      );
  } else if (sense.kind === 'current' && sense.input !== undefined)
    notes.error(
      [...at, 'input'],
      'an analogue input measures volts, and nothing says how many amperes they stand for',
      'give calibration: [[V, A], [V, A]]',
    );
  if (sense.kind === 'volts') lintDivider(notes, at, sense);
  lintMaxV(notes, at, sense, measures?.maxInputV);
}

function lintDivider(notes: Notes, at: Path, sense: Extract<Analogue, { kind: 'volts' }>): void {
  if (sense.divider && sense.input === undefined)
    notes.error([...at, 'divider'], 'a meter is connected without a divider', 'leave it out');
}

/** The voltage that reaches the input, where the file tells it. */
function lintMaxV(notes: Notes, at: Path, sense: Analogue, maxInputV: number | undefined): void {
  if (sense.input === undefined) {
    if (sense.maxV !== undefined)
      notes.error([...at, 'maxV'], 'a meter sets its own range', 'leave it out');
    return;
  }
  const { maxV } = sense;
  if (maxV !== undefined && maxInputV !== undefined && maxV > maxInputV)
    notes.error(
      [...at, 'maxV'],
      `${maxV} V is more than an input of board ${sense.board} withstands (${maxInputV} V)`,
      'fit a voltage divider',
    );
  const most = maxV ?? maxInputV;
  if (most === undefined) return;
  const at0 = inputV(notes, sense);
  if (at0 && at0.volts > most + 1e-9)
    notes.error(
      [...at, at0.key],
      `${at0.what} puts ${tidy(at0.volts, 2)} V on the input, more than ${most} V`,
      sense.kind === 'volts'
        ? 'fit a voltage divider that divides by more, and give it in divider'
        : 'give the voltages at the input itself',
    );
}

/** The highest voltage at the input that the file speaks of. */
function inputV(notes: Notes, sense: Analogue) {
  if ('calibration' in sense && sense.calibration)
    return {
      key: 'calibration',
      what: 'its calibration',
      volts: Math.max(...sense.calibration.map(([volts]) => volts)),
    };
  if (sense.kind !== 'volts') return undefined;
  const rails = notes.prop.rails;
  const rail = sense.rail !== undefined && Object.hasOwn(rails, sense.rail) && rails[sense.rail];
  const spoken = [sense.warnAbove, sense.warnBelow, sense.parkBelow];
  const sourceV = Math.max(
    rail ? (rail.battery?.fullV ?? rail.volts) : 0,
    ...spoken.map((volts) => volts ?? 0),
  );
  const what = `${tidy(sourceV, 2)} V`;
  const key = sense.divider ? 'divider' : 'input';
  return { key, what, volts: sourceV / dividerFactor(sense) };
}

function lintLimits(notes: Notes, at: Path, sense: Analogue): void {
  const limits = senseLimits(sense);
  if (limits.some(({ what }) => notes.given.broken([...at, what]))) return;
  const below = limits.filter(({ what }) => what !== 'warnAbove');
  const above = limits.find(({ what }) => what === 'warnAbove');
  const [park, warn] = [limits.find(({ what }) => what === 'parkBelow'), below.at(-1)];
  if (park && warn && warn !== park && park.at >= warn.at)
    notes.error(
      [...at, 'parkBelow'],
      `it would park at ${park.at}, before it warns at ${warn.at}`,
      'give parkBelow less than warnBelow',
    );
  for (const limit of below)
    if (above && limit.back >= above.at)
      notes.error(
        [...at, 'warnAbove'],
        `${above.at} is not above ${limit.what} with its hysteresis (${tidy(limit.back)})`,
        'give a higher warnAbove, or less hysteresis',
      );
  if (sense.kind !== 'volts' || !park || sense.rail === undefined) return;
  const rail = Object.hasOwn(notes.prop.rails, sense.rail) && notes.prop.rails[sense.rail];
  if (!rail) return;
  const path = [...at, 'parkBelow'];
  const { fullV, emptyV } = rail.battery ?? {};
  const topV = fullV ?? rail.volts;
  if (park.back > topV)
    notes.error(
      path,
      `the prop would wake again at ${tidy(park.back, 2)} V, and rail ${sense.rail} has ${topV} V at most`,
      'give less, or less hysteresis',
    );
  else if (emptyV !== undefined && park.at < emptyV)
    notes.warning(
      path,
      `the battery counts as empty at ${emptyV} V, and the prop goes on down to ${park.at} V`,
      `give ${emptyV} or more`,
    );
}
