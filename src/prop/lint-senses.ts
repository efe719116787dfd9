import type { Measures, SenseUse } from '../boards/facts.ts';
import { factsOf } from '../boards/registry.ts';
import { tidy } from '../shared/units.ts';
import { dividerOhm } from '../sums/divider.ts';
import { circuitOf } from './circuit.ts';
import type { Path } from './finding.ts';
import { freeRunningOf } from './free-running.ts';
import { servoOf } from './kinds/channel.ts';
import { kindOf } from './kinds/registry.ts';
import { servoDraw } from './kinds/servo.ts';
import { fromWiring } from './lint-wiring.ts';
import type { Notes } from './notes.ts';
import { railOf } from './rails.ts';
import { dipOf, dividerFactor, senseLimits, sensePoints, senseQuantity } from './senses.ts';
import type { SenseEntry } from './senses-schema.ts';

type Analogue = Exclude<SenseEntry, { kind: 'contact' }>;

/** Checks what is measured: the board and its input, what it belongs to, its scale and its limits. */
export function lintSenses(notes: Notes): void {
  const takenBy = new Map<string, string>();
  for (const [name, sense] of Object.entries(notes.prop.senses)) {
    // The board and pin of a contact are checked with those of all inputs.
    if (sense.kind === 'contact') continue;
    const at = ['senses', name];
    lintPlace(notes, at, sense);
    lintEnds(notes, at, sense);
    lintBoard(notes, at, name, sense, takenBy);
    lintScale(notes, at, sense);
    lintMaxV(notes, at, sense);
    lintLimits(notes, at, sense);
    if (sense.kind === 'current') lintPush(notes, at, sense);
  }
}

function lintBoard(
  notes: Notes,
  at: Path,
  name: string,
  sense: Analogue,
  takenBy: Map<string, string>,
): void {
  const boardPath = [...at, 'board'];
  const board = notes.find('boards', sense.board, boardPath);
  if (!board || notes.given.broken([...at, 'input'])) return;
  const facts = factsOf(board);
  const measures = facts.measures?.(board);
  if (!measures) {
    notes.error(
      boardPath,
      `board ${sense.board} (${board.driver}) measures nothing`,
      'name a board that measures',
    );
    return;
  }
  if (!lintInput(notes, at, name, sense, measures, takenBy)) return;
  const rail = 'rail' in sense ? sense.rail : undefined;
  const { limitA, fuse } = railOf(notes.prop, rail) ?? {};
  const use: SenseUse = {
    board: sense.board,
    path: at,
    boardPath,
    quantity: senseQuantity(sense)!,
    maxV: sense.maxV ?? inputV(notes, sense)?.volts,
    sourceOhm: 'divider' in sense && sense.divider ? dividerOhm(...sense.divider) : undefined,
    limit:
      rail !== undefined && limitA !== undefined && sense.kind === 'current'
        ? { rail, amps: limitA, fuseA: fuse?.ratingA }
        : undefined,
  };
  facts.lintSense?.(use, board, notes);
}

/** Where along a rail's wires it measures: at ends that the supply's wires reach, on the way to it and back. */
function lintEnds(notes: Notes, at: Path, sense: Analogue): void {
  if (sense.kind !== 'volts' || !sense.at || notes.given.broken([...at, 'at'])) return;
  if (sense.rail === undefined) {
    notes.error([...at, 'at'], 'it names no rail', 'give the rail whose wires these are ends of');
    return;
  }
  const circuit = fromWiring(notes, circuitOf);
  const { plus, return: back } = sense.at;
  const missing = [plus, back].filter((end) => circuit.nodeOf(end) === undefined);
  if (missing.length > 0)
    notes.error(
      [...at, 'at'],
      `no supply wire ends at ${missing.join(' and ')}`,
      'give ends of wires, as they are in the file',
    );
}

/** What it is the current, voltage or angle of. */
function lintPlace(notes: Notes, at: Path, sense: Analogue): void {
  const rail = 'rail' in sense ? sense.rail : undefined;
  const channel = 'channel' in sense ? sense.channel : undefined;
  if (rail !== undefined) notes.find('rails', rail, [...at, 'rail']);
  if (channel === undefined) return;
  const path = [...at, 'channel'];
  const found = notes.find('channels', channel, path);
  if (found && sense.kind === 'position' && kindOf(found).value !== 'deg')
    notes.error(path, `${channel} is a ${found.kind}, which has no angle`, 'name a servo');
  if (rail !== undefined)
    notes.error(path, 'both a rail and a channel are given', 'give the one whose current it is');
}

function lintInput(
  notes: Notes,
  at: Path,
  name: string,
  sense: Analogue,
  { inputs, quantities }: Measures,
  takenBy: Map<string, string>,
): boolean {
  const { board, input } = sense;
  const path = [...at, input === undefined ? 'board' : 'input'];
  const quantity = senseQuantity(sense)!;
  if (!quantities.includes(quantity)) {
    notes.error(
      [...at, 'board'],
      `board ${board} measures ${quantities.join(' and ')}, not ${quantity}`,
      'name a board that does, or give the input that a current sensor is connected to',
    );
    return false;
  }
  // What measures a current has a shunt of its own, and measures there without an input.
  if (input === undefined && !quantities.includes('current')) {
    notes.error(
      path,
      `board ${board} has analogue inputs only`,
      'give the input, such as input: 0',
    );
    return false;
  }
  if (input !== undefined && input >= inputs) {
    notes.error(
      path,
      inputs === 0
        ? `board ${board} has no analogue inputs`
        : `board ${board} has no input ${input}`,
      inputs === 0 ? 'leave out input' : `use 0 to ${inputs - 1}`,
    );
    return false;
  }
  const place = JSON.stringify([board, input ?? quantity]);
  const other = takenBy.get(place);
  takenBy.set(place, name);
  if (other === undefined) return true;
  notes.error(
    path,
    input === undefined
      ? `${other} is the ${quantity} of board ${board} already`
      : `${other} has input ${input} already`,
    'give each its own input, or a board of its own',
  );
  return false;
}

/** Calibration and divider. */
function lintScale(notes: Notes, at: Path, sense: Analogue): void {
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
  if (sense.kind === 'volts' && sense.divider && sense.input === undefined)
    notes.error([...at, 'divider'], 'a meter is connected without a divider', 'leave it out');
}

/** The voltage that reaches the input, where the file gives it. */
function lintMaxV(notes: Notes, at: Path, sense: Analogue): void {
  const { maxV } = sense;
  if (maxV === undefined) return;
  if (sense.input === undefined) {
    notes.error([...at, 'maxV'], 'a meter sets its own range', 'leave it out');
    return;
  }
  const most = inputV(notes, sense);
  if (most && most.volts > maxV + 1e-9)
    notes.error(
      [...at, 'maxV'],
      `${most.what} puts ${tidy(most.volts, 2)} V on the input, more than ${maxV} V`,
      `give ${tidy(most.volts, 2)} or more, as far as the board withstands it`,
    );
}

/** The highest voltage at the input that the file speaks of (V). */
function inputV(notes: Notes, sense: Analogue): { what: string; volts: number } | undefined {
  if (sense.input === undefined) return undefined;
  if ('calibration' in sense && sense.calibration)
    return {
      what: 'its calibration',
      volts: Math.max(...sense.calibration.map(([volts]) => volts)),
    };
  if (sense.kind !== 'volts') return undefined;
  const rail = railOf(notes.prop, sense.rail);
  const spoken = [rail?.battery?.fullV ?? rail?.volts, sense.warnAbove, sense.warnBelow];
  const sourceV = Math.max(...spoken.map((volts) => volts ?? 0), sense.parkBelow ?? 0);
  if (sourceV <= 0) return undefined;
  return { what: `${tidy(sourceV, 2)} V`, volts: sourceV / dividerFactor(sense) };
}

function lintLimits(notes: Notes, at: Path, sense: Analogue): void {
  const limits = senseLimits(sense);
  if (limits.some(({ what }) => notes.given.broken([...at, what]))) return;
  const below = limits.filter(({ side }) => side === 'below');
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
  if (sense.kind !== 'volts') return;
  const rail = railOf(notes.prop, sense.rail);
  if (!rail) return;
  const { fullV, emptyV } = rail.battery ?? {};
  const topV = fullV ?? rail.volts;
  const dip = dipOf(sense);
  if (dip && dip.back > topV && !notes.given.broken([...at, 'dipBelow']))
    notes.error(
      [...at, 'dipBelow'],
      `a dip would never be over: it would have to rise to ${tidy(dip.back, 2)} V, and rail ${sense.rail} has ${topV} V at most`,
      'give less, or less hysteresis',
    );
  if (!park) return;
  const path = [...at, 'parkBelow'];
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

/** The current at which a servo pushes: above that of its moves, below that of a stall. */
function lintPush(
  notes: Notes,
  at: Path,
  { channel, pushAboveA, pushOverA }: Extract<Analogue, { kind: 'current' }>,
): void {
  const key = pushAboveA === undefined ? 'pushOverA' : 'pushAboveA';
  const path = [...at, key];
  if ((pushAboveA ?? pushOverA) === undefined) return;
  const { channels } = notes.prop;
  const given = channel !== undefined && Object.hasOwn(channels, channel) && channels[channel];
  const servo = given ? servoOf(given) : undefined;
  if (!servo) {
    if (channel === undefined || given)
      notes.error(
        path,
        'only the current of one servo alone shows that it pushes',
        'name that servo in channel, or leave this out',
      );
    return;
  }
  const { busyA, stallA } = servoDraw(servo);
  const isNever = (aboveA: number) => stallA > 0 && aboveA >= stallA;
  if (pushOverA !== undefined) {
    const { freeRunning } = servo;
    const freeA = freeRunning && Math.max(freeRunning.risingA, freeRunning.fallingA);
    if (freeA === undefined || !freeRunningOf(servo))
      notes.warning(
        [...at, 'pushOverA'],
        `it does not count, as the current of ${channel} running free is not measured`,
        'measure it on the page (Bench, Measure), or give pushAboveA',
      );
    else if (isNever(freeA + pushOverA))
      notes.warning(
        [...at, 'pushOverA'],
        `${channel} draws ${stallA} A when it is blocked, and up to ${freeA} A running free, so this is never passed`,
        `give less than ${tidy(stallA - freeA, 2)}`,
      );
  }
  if (pushAboveA === undefined) return;
  if (isNever(pushAboveA))
    notes.warning(
      path,
      `${channel} draws ${stallA} A when it is blocked, so this is never passed`,
      `give less than that, and more than ${busyA}`,
    );
  else if (pushAboveA <= busyA)
    notes.warning(
      path,
      `${channel} draws ${busyA} A when it moves, so that would count as pushing`,
      `give more than that, and less than ${stallA}`,
    );
}
