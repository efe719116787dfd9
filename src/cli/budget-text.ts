import type { Budget, FuseBudget, RailBudget } from '../prop/budget.ts';
import type { RehearsedLoad } from '../rehearsal/rehearsed-load.ts';
import { tidy } from '../shared/units.ts';
import { DIP_SHARE, WAKE } from '../sums/supply.ts';
import { bundleFactor } from '../sums/wire.ts';
import { table, withCount } from './output.ts';

const percent = (share: number) => `${Math.round(100 * share)} %`;

/** What goes before every number above it. */
export const CAUTIONS: readonly string[] = [
  'Everything here is worked out from what the file says, with copper at 20 C (4 % more resistance for every 10 K above). Measure before you trust it.',
  `Bunched wires carry less than one alone: of 3 loaded circuits each keeps ${percent(bundleFactor(3))}, of 6 ${percent(bundleFactor(6))}, of 9 ${percent(bundleFactor(9))} (IEC 60364-5-52).`,
  'A fuse stands at the supply and protects the wire, not the servo. Fuse every battery at its terminal; never charge lithium cells unattended or inside the prop.',
  'Mains is only for licensed persons. Local codes, data sheets and the judgement of people licensed to make it go before these sums.',
];

const n = (value: number | undefined, digits = 2) =>
  value === undefined ? '' : value.toFixed(digits);

/** The budget for the terminal. */
export function budgetText(
  prop: string,
  budget: Budget,
  cues: readonly RehearsedLoad[],
  mechanics: readonly string[],
  findingLines: readonly string[],
): string {
  const parts = [
    `${prop}: budget`,
    rails(budget.rails),
    ...fuses(budget.rails),
    ...batteries(budget.rails),
    ...capacitors(budget.rails),
    ...holding(budget),
    ...cueTable(cues),
    ...channels(budget),
    ...wires(budget),
    ...shunts(budget),
    ...smallParts(budget),
    ...mechanics,
    ...gaps(budget),
    findings(findingLines),
    CAUTIONS.map((caution) => `! ${caution}`).join('\n'),
  ];
  return parts.join('\n\n');
}

function findings(findingLines: readonly string[]): string {
  if (findingLines.length === 0) return 'no findings';
  return withCount(findingLines).join('\n');
}

function rails(all: readonly RailBudget[]): string {
  if (all.length === 0) return 'The file has no rails.';
  const heading = [
    'rail',
    'V',
    'limit A',
    'idle A',
    'moving A',
    'stalled A',
    'one stalls A',
    'wake A',
    'at once A',
    'supply A',
  ];
  const rows = all.map((rail) => [
    rail.name,
    n(rail.volts),
    n(rail.limitA),
    n(rail.idleA),
    n(rail.movingA),
    n(rail.stallA),
    n(rail.hardest?.amps),
    n(rail.inrush.staggeredA),
    n(rail.inrush.togetherA),
    n(rail.wantedA),
  ]);
  const hardest = all.flatMap(({ hardest: one }) => (one ? [one.channel] : []));
  return [
    table(heading, rows),
    '',
    'moving: all at once; the daemon lets no more through than the limit. stalled: every servo held fast.',
    `one stalls: the hardest (${hardest.join(', ') || 'none'}) while all others rest.`,
    'wake: when the servos start one by one, each with its stall current for a moment; at once: if they did together.',
    'supply: the one to look for, a quarter above the most that the daemon lets through, and no less than one stalls and wake.',
  ].join('\n');
}

function fuses(all: readonly RailBudget[]): string[] {
  const lines = all.flatMap(({ name, fuse }) => (fuse ? [`${name}: ${fuseLine(fuse)}`] : []));
  return lines.length > 0 ? [['Fuses', ...lines].join('\n')] : [];
}

/** A fuse beside what its wires carry. */
export function fuseLine(fuse: FuseBudget): string {
  const { ratingA, standard, loadA, momentA, wire, verdict, fits } = fuse;
  const load = `load ${n(loadA)} A${momentA > loadA ? `, for a moment ${n(momentA)} A` : ''}`;
  const shared =
    wire?.shared && `, ${n(wire.shared.amps)} A of it for ${wire.shared.rails.join(', ')}`;
  const weakest = wire
    ? `, weakest wire ${wire.label} (${n(wire.capacityA)} A${shared ?? ''})`
    : ', wires not in the file';
  const best =
    fits === undefined
      ? ''
      : fits === null
        ? `no rating of ${standard} fits`
        : `${tidy(fits)} A fits`;
  if (ratingA === undefined) return `none in the file; ${load}${weakest}${best && `: ${best}`}`;
  const is = verdict ?? 'the wire cannot be judged';
  const other = verdict === 'fits' || best === '' ? '' : `; ${best}`;
  return `${tidy(ratingA)} A ${standard}, ${load}${weakest}: ${is}${other}`;
}

function capacitors(all: readonly RailBudget[]): string[] {
  const lines = all.flatMap(({ name, capacitorF: farad, momentA, limitA }) =>
    farad === undefined
      ? []
      : [
          `${name}: ${tidy(1e6 * farad, 0)} uF at the rail keep its dip to ${percent(DIP_SHARE)} while ${n(momentA)} A flow for ${WAKE.startS} s and it gives ${n(limitA)} A (C = I dt / dV)`,
        ],
  );
  return lines.length > 0 ? [['Capacitors', ...lines].join('\n')] : [];
}

function holding({ channels: all }: Budget): string[] {
  const lines = all.flatMap(({ name, holdingA: amps }) =>
    amps === undefined ? [] : [`${name}: about ${n(amps)} A where it has to hold most`],
  );
  const how = 'In proportion to the torque, from the current at rest to that at the stall.';
  return lines.length > 0 ? [['Holding a load', ...lines, how].join('\n')] : [];
}

function batteries(all: readonly RailBudget[]): string[] {
  const lines = all.flatMap(({ name, battery }) => {
    if (!battery) return [];
    const { idleH, movingH, wantedH } = battery;
    const wanted = wantedH === undefined ? '' : `; wanted ${tidy(wantedH)} h`;
    return [
      `${name}: ${hours(idleH)} at rest, ${hours(movingH)} if everything moves all the time${wanted}`,
    ];
  });
  const how = "By Peukert's law, for a new battery at its rated temperature.";
  return lines.length > 0 ? [['Batteries', ...lines, how].join('\n')] : [];
}

function hours(time: number): string {
  if (!Number.isFinite(time)) return 'for ever';
  return time < 1 ? `${tidy(time * 60, 0)} min` : `${tidy(time, 1)} h`;
}

function cueTable(cues: readonly RehearsedLoad[]): string[] {
  if (cues.length === 0) return [];
  const rows = cues.flatMap(({ cue, durationS, cutShort, rails: all }) =>
    all.map((rail, i) => [
      i === 0 ? cue : '',
      i === 0 ? `${n(durationS)}${cutShort ? '+' : ''}` : '',
      rail.name,
      n(rail.meanA),
      n(rail.peakA),
      n(rail.peakAtS),
      n(rail.worstA),
      n(rail.worstAtS),
    ]),
  );
  const heading = ['cue', 'takes s', 'rail', 'mean A', 'peak A', 'at s', 'worst A', 'at s'];
  const lines = [table(heading, rows), '', 'worst: if every servo that moves then were stalled.'];
  if (cues.some(({ cutShort }) => cutShort))
    lines.push('+: goes on until it is stopped; so much of it was computed.');
  return [lines.join('\n')];
}

/** A voltage in a table; through wires that would lose all of it, the current cannot flow. */
const volts = (value: number | undefined) =>
  value !== undefined && value <= 0 ? 'cannot run' : n(value);

function channels({ channels: all }: Budget): string[] {
  const known = all.filter(({ dropV }) => dropV !== undefined);
  if (known.length === 0)
    return [
      'No voltage drops: the file has no terminals of a supply, or no lengths and sizes of wires.',
    ];
  const heading = [
    'channel',
    'rail',
    'moving A',
    'V there',
    'lost V',
    'lost %',
    'stalled A',
    'V there',
  ];
  const rows = known.map((one) => [
    one.along === 'its own wire' ? `${one.name} *` : one.name,
    one.rail,
    n(one.movingA),
    volts(one.movingV),
    n(one.dropV, 3),
    n(100 * one.dropShare!, 1),
    ...(one.stallA > one.movingA ? [n(one.stallA), volts(one.stallV)] : []),
  ]);
  const own = known.some(({ along }) => along === 'its own wire');
  return [
    [
      table(heading, rows),
      '',
      'At the channel, from the supply through every shared wire, while all others move as the limit allows.',
      ...(own ? ["*: along its own wire alone; the supply's terminals are not in the file."] : []),
    ].join('\n'),
  ];
}

function wires({ wires: all }: Budget): string[] {
  const carrying = all.filter(({ amps }) => amps >= 0.0005);
  if (carrying.length === 0) return [];
  const heading = ['wire', 'of', 'A', 'may carry A', 'lost V'];
  const rows = carrying.map(({ label, of, amps, capacityA, dropV }) => [
    label,
    of,
    n(amps),
    n(capacityA),
    n(dropV, 3),
  ]);
  return [
    [
      table(heading, rows),
      '',
      'May carry: alone, PVC, 40 C around it, in a conduit (IEC 60204-1, table 6, method B2).',
    ].join('\n'),
  ];
}

function shunts({ shunts: all = [] }: Budget): string[] {
  if (all.length === 0) return [];
  const heading = [
    'shunt of',
    'carries',
    'ohm',
    'A',
    'lost V',
    'W',
    'rated W',
    'moment A',
    'lost V',
  ];
  const rows = all.map((one) => [
    one.board,
    one.channel ?? one.rail!,
    String(one.ohm),
    n(one.movingA),
    n(one.dropV, 3),
    n(one.watts, 3),
    n(one.ratedW),
    n(one.momentA),
    n(one.momentDropV, 3),
  ]);
  return [
    [
      table(heading, rows),
      '',
      'A shunt is in plus, before all that it measures: what it loses (U = I R) is part of the lost V above; P = I2 R heats it.',
    ].join('\n'),
  ];
}

function smallParts({ leds, coils }: Budget): string[] {
  const ledLines = leds.map(({ channel, colour, led, givenOhm, wanted }) => {
    const name = colour === undefined ? channel : `${channel} ${colour}`;
    if (!wanted) return `${name}: the supply of ${tidy(led.supplyV)} V is too low`;
    const { ohm, minA, maxA, ratingW } = wanted;
    const given = givenOhm === undefined ? '' : `; in the file ${tidy(givenOhm)} ohm`;
    const power = ratingW === undefined ? 'over 10 W' : `${ratingW} W`;
    return `${name}: ${tidy(ohm)} ohm, ${power} (${n(1000 * minA, 1)} to ${n(1000 * maxA, 1)} mA)${given}`;
  });
  const coilLines = coils.map(({ channel, coilA, givenOhm, wanted, flyback }) => {
    const base = wanted
      ? `base resistor ${tidy(wanted.ohm)} ohm (${n(1000 * wanted.pinA, 1)} mA from the pin)`
      : 'the pin does not switch a transistor on';
    const given = givenOhm === undefined ? '' : `, in the file ${tidy(givenOhm)} ohm`;
    return `${channel}: coil ${n(1000 * coilA, 1)} mA, ${base}${given}; across the coil a diode for ${tidy(flyback.reverseV)} V and ${n(1000 * flyback.forwardA, 0)} mA, cathode at plus`;
  });
  return [
    ...(ledLines.length > 0 ? [['Series resistors (E24)', ...ledLines].join('\n')] : []),
    ...(coilLines.length > 0 ? [['Relay coils', ...coilLines].join('\n')] : []),
  ];
}

function gaps({ untraced, unknownWires }: Budget): string[] {
  const lines = [
    ...(untraced.length > 0
      ? [
          `Not worked out, as no wires lead from their supply to them and back: ${untraced.join(', ')}`,
        ]
      : []),
    ...(unknownWires.length > 0
      ? [`Counted as no resistance, without a length or a size: ${unknownWires.join(', ')}`]
      : []),
  ];
  return lines.length > 0 ? [lines.join('\n')] : [];
}
