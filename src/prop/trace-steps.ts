import { factsOf } from '../boards/registry.ts';
import { tidy } from '../shared/units.ts';
import { shuntV } from '../sums/shunt.ts';
import { type Battery, batteryOf } from './battery.ts';
import { coreOhm } from './circuit.ts';
import type { WeakWires } from './drop-ways.ts';
import { requirementText } from './interlock.ts';
import { relayOf, servoOf } from './kinds/channel.ts';
import { loadRailOf } from './kinds/contact.ts';
import { atHighV } from './kinds/meter.ts';
import { activeLow } from './kinds/polarity.ts';
import { coreKind } from './loom.ts';
import { splitEnd } from './loom-words.ts';
import { shuntText } from './measuring-path.ts';
import { railOf } from './rails.ts';
import type { Board, Rail, RelayChannel, ServoChannel } from './schema.ts';
import type { Symptom } from './symptoms.ts';
import { linkOhms, type Pair, type Site } from './trace-site.ts';

/** What a meter shows between two ends if all is well. */
export interface Reading {
  /** Direct voltage, resistance or current. */
  unit: 'V' | 'ohm' | 'A';
  low: number;
  /** Null if there is no upper bound. */
  high: number | null;
  /** The ends to measure between, as `J1-12`; empty if the file does not name them. */
  between: string[];
}

export interface TraceStep {
  /** Off: everything is disconnected before hands or an ohmmeter touch it. */
  power: 'on' | 'off';
  /** What to do. */
  check: string;
  /** What to see if all is well. */
  expect: string;
  reading?: Reading;
  /** What it means to see something else, and what to do then. */
  otherwise: string;
}

/** Tolerance of a good supply (share; common practice, no source). */
const SUPPLY_SPREAD = 0.05;
/** Drop allowed on the way to a contact's load (share of its voltage). */
const LOST_SHARE = 0.05;
/** A blade fuse loses about 0.1 V at its rating (common practice, no source). */
const FUSE_V = 0.2;
/** Resistance that a meter's leads, crimps and loose contact add (ohm; common practice, no source). */
const CONTACT_OHM = 1;
const OPEN_OHM = 1e6;
/** Repetition rate of a servo's pulse if it is unknown (Hz; common practice, no source). */
const SERVO_HZ = 50;

/** The steps of a symptom, in the order to take them. */
export function stepsFor(site: Site, symptom: Symptom): TraceStep[] {
  switch (symptom) {
    case 'dead':
      return [
        ask(site),
        look(site),
        ...supply(site),
        ...signal(site),
        ...transistors(site),
        ...load(site),
        ...ohms(site),
        swap(site),
      ];
    case 'buzzing':
      return buzzing(site, servoOf(site.channel)!);
    case 'wrong-way':
      return wrongWay(site, servoOf(site.channel)!);
    case 'dim':
      return [
        dimAsk(site),
        look(site),
        ...supply(site),
        ...signal(site),
        ...transistors(site),
        ...ohms(site),
        swap(site),
      ];
    case 'weak':
      return weak(site);
    case 'stays-on':
      return staysOn(site);
  }
}

// --- before any tool ------------------------------------------------------------------------------

function ask(site: Site): TraceStep {
  const { channel, kind, name } = site;
  const others = (channel.requires ?? []).map(requirementText);
  const more = [
    ...(others.length > 0 ? [`its interlock holds (${others.join(', ')})`] : []),
    ...kind.faults.rulesOut(channel),
  ];
  return {
    power: 'on',
    check: `Ask the prop: sinew status, then sinew identify ${name}.`,
    expect: ['the prop is live', `${name} shows no fault`, ...more].join('; '),
    otherwise:
      'Stopped: reset, then wake. Parked: wake. Refused: the answer and sinew journal say why.',
  };
}

function look(site: Site): TraceStep {
  const { signals, legs, plus, back } = site;
  const leads = [...signals, plus, back, ...legs].filter((lead) => lead !== undefined);
  const order = leads.map(({ core, far }) => `${far} ${core.colour} ${core.role}`).join(', ');
  const labels = [...new Set(leads.map(({ wire }) => wire.label))].join(', ');
  return {
    power: 'off',
    check: `Look, then pull gently: the plug of ${site.name}, wire ${labels || 'of it'} from end to end, every terminal on the way.`,
    expect: order ? `seated, the right way round: ${order}` : 'seated, the right way round',
    otherwise:
      'A plug the wrong way round, a core that slips out, a pinch, a burn: fix it. This is the most common fault.',
  };
}

// --- supply ---------------------------------------------------------------------------------------

/** The voltage range of a supply: for a battery from empty to full, if the file gives them. */
function supplyRange(battery: Battery | undefined, volts: number): [low: number, high: number] {
  const { emptyV, fullV } = battery ?? {};
  return [emptyV ?? volts * (1 - SUPPLY_SPREAD), fullV ?? volts * (1 + SUPPLY_SPREAD)];
}

function spread(battery: Battery | undefined, volts: number): string {
  if (!battery) return `${show(volts)} V, give or take ${SUPPLY_SPREAD * 100} %`;
  const [low, high] = supplyRange(battery, volts);
  return `${show(low)} to ${show(high)} V, from the battery empty to full`;
}

/** The battery at the rail of a channel, if any. */
const batteryAt = ({ prop, rail }: Site) => {
  const found = railOf(prop, rail);
  return found && batteryOf(found);
};

function supply(site: Site): TraceStep[] {
  const { volts, rail, plug, block, fuse } = site;
  if (volts === undefined) return [];
  const steps: TraceStep[] = [];
  const terminals = site.supply;
  const way = plug ? site.way('plus', plug.plus) : [];
  const fused = fuse && (!terminals || way.some((link) => link.kind === 'fuse'));
  steps.push(
    ...source(rail!, {
      volts,
      terminals,
      fuse: fused ? fuse : undefined,
      battery: batteryAt(site),
    }),
  );
  if (!site.kind.switches) steps.push(...shunts(site));
  if (block && (!terminals || block.plus !== terminals.plus))
    steps.push(
      under(
        site,
        block,
        `Measure where its wire begins: ${block.plus} against ${block.return}.`,
        'Good at the supply and not here: the feed between them, a terminal or a bridge.',
      ),
    );
  if (plug)
    steps.push(
      under(
        site,
        plug,
        `Measure at its plug: ${plug.plus} against ${plug.return}, while it is ${site.kind.words.busy}.`,
        `Good at ${block!.plus} and not here: ${site.plus!.wire.label}, its crimps, or the contact at ${plug.plus} or ${plug.return}.`,
      ),
    );
  return steps;
}

/** Largest voltage across the two terminals of a shunt, besides its own drop (V; common practice, no source). */
const SHUNT_CONTACT_V = 0.05;

/** A shunt that has burnt out, or a loose terminal of its meter, lets nothing through. */
function shunts({ shunts: all, name, channel, kind, prop }: Site): TraceStep[] {
  const { busyA } = kind.draw(channel);
  return all.map((shunt) => {
    const dropV = shuntV(busyA, shunt.ohm);
    const rail = railOf(prop, loadRailOf(channel));
    return {
      power: 'on',
      check: `Measure across the ${shuntText(shunt)}, at the meter's two power terminals, while ${name} is ${kind.words.busy}.`,
      expect: `about ${tidy(dropV * 1000, 1)} mV at ${show(busyA)} A, more while others draw too; sinew senses shows ${shunt.sense} at about that current`,
      reading: { unit: 'V', low: 0, high: tidy(dropV + SHUNT_CONTACT_V, 3), between: [] },
      otherwise: `${rail ? `About ${show(rail.volts)} V` : 'The full voltage'}: the shunt is burnt out or a terminal is open. Switch off, look for the short behind it first, then change the meter. Much more than the amperes explain: a loose terminal.`,
    };
  });
}

/** A supply at its terminals, and its fuse. */
function source(
  rail: string,
  {
    volts,
    terminals,
    fuse,
    battery,
  }: {
    volts: number;
    terminals: Pair | undefined;
    fuse: Rail['fuse'] | undefined;
    battery: Battery | undefined;
  },
): TraceStep[] {
  const steps: TraceStep[] = [
    {
      power: 'on',
      check: terminals
        ? `Measure the supply at its terminals: ${terminals.plus} against ${terminals.return}.`
        : `Measure the supply of rail ${rail} at its terminals.`,
      expect: spread(battery, volts),
      reading: voltage(...supplyRange(battery, volts), terminals),
      otherwise:
        'Nothing: the switch, the mains side (licensed persons only) or the battery. Too little: unplug loads one by one; a supply that recovers was overloaded.',
    },
  ];
  if (fuse)
    steps.push({
      power: 'on',
      check: `Measure across the fuse of ${show(fuse.ratingA)} A: ${fuse.from} against ${fuse.to}.`,
      expect: `0 V, at most ${FUSE_V} V`,
      reading: { unit: 'V', low: 0, high: FUSE_V, between: [fuse.from, fuse.to] },
      otherwise: `About ${show(volts)} V: it has blown. Find the short first (ohms, power off), then fit the same rating: ${fuse.standard}, ${show(fuse.ratingA)} A. Never more.`,
    });
  return steps;
}

/** A voltage between two ends, with the drop on the way while only the channel is busy. */
function under(site: Site, pair: Pair, check: string, otherwise: string): TraceStep {
  const volts = site.volts!;
  const there = site.voltsAt(pair)!;
  const drop = volts - there;
  const least = there * (supplyRange(batteryAt(site), volts)[0] / volts);
  return {
    power: 'on',
    check,
    expect:
      drop >= 0.005
        ? `${show(there)} V (${show(volts)} V less ${show(drop)} V at ${show(site.amps)} A), no less than ${show(least)} V`
        : `${show(there)} V, no less than ${show(least)} V`,
    reading: voltage(least, supplyRange(batteryAt(site), volts)[1], pair),
    otherwise,
  };
}

function voltage(low: number, high: number, pair: Pair | undefined): Reading {
  const between = pair ? [pair.plus, pair.return] : [];
  return { unit: 'V', low: tidy(low, 3), high: tidy(high, 3), between };
}

/** What a meter shows at the feed of a contact's load, with a small drop on the way. */
function atLoad(rail: Rail, pair: Pair): Pick<TraceStep, 'expect' | 'reading'> {
  const { volts } = rail;
  const battery = batteryOf(rail);
  const [low, high] = supplyRange(battery, volts);
  return {
    expect: battery ? spread(battery, volts) : `${show(volts)} V`,
    reading: voltage(low - LOST_SHARE * volts, high, pair),
  };
}

/** With two decimals, as a meter shows. */
function show(value: number): string {
  return String(tidy(value, 2));
}

// --- signal ---------------------------------------------------------------------------------------

function signal(site: Site): TraceStep[] {
  return site.signals.flatMap((lead) => {
    const board = boardOf(site);
    const electrics = board && factsOf(board).electrics(board);
    const levels = site.kind.faults
      .levels(site.channel, site.name, lead.core.role, pulseHz(site))
      .map((level) => (electrics ? atHighV(level, electrics.highV) : level));
    const back = site.reference;
    const ground = site.groundNear(lead.near);
    const expect = levels.map(({ command, volts }) => `${command}: ${show(volts)} V`).join('; ');
    const reading = (a: string, b: string | undefined): Reading => ({
      unit: 'V',
      low: tidy(Math.min(...levels.map(({ low }) => low)), 3),
      high: tidy(Math.max(...levels.map(({ high }) => high)), 3),
      between: b === undefined ? [a] : [a, b],
    });
    const what = site.signals.length > 1 ? `the ${lead.core.role} signal` : 'the signal';
    const note = electrics?.note ?? '';
    return [
      {
        power: 'on',
        check: `Measure ${what} at the plug, as direct voltage: ${lead.far} against ${back ?? 'the return'}.`,
        expect: expect + note,
        reading: reading(lead.far, back),
        otherwise: `Go to the board's end of ${lead.wire.label}: next step.`,
      },
      {
        power: 'on',
        check: `Measure ${what} at the board: ${lead.near} against ${ground ?? 'the ground of the board'}.`,
        expect: `the same: ${expect}${note}`,
        reading: reading(lead.near, ground),
        otherwise: `Good here and not at the plug: ${lead.core.colour} core of ${lead.wire.label}, or no common ground. Not here either: the wrong pin (sinew check), or a dead one; try another.`,
      },
    ] satisfies TraceStep[];
  });
}

function boardOf({ prop, channel }: Site): Board | undefined {
  return prop.boards[channel.output.board];
}

/** How often the board repeats a servo's pulse (Hz). */
function pulseHz(site: Site): number {
  const board = boardOf(site);
  return board ? factsOf(board).pulseHz(board) : SERVO_HZ;
}

/** Largest voltage across a transistor that is switched on (V; common practice, no source). */
const SWITCHED_V = 0.4;

/** Checks the transistors between a light's pins and its LEDs. */
function transistors(site: Site): TraceStep[] {
  const { back, name } = site;
  if (!back) return [];
  return site.legs.map(({ wire, core, near }) => ({
    power: 'on',
    check: `Measure across the transistor of the ${core.role}: ${near} against ${back.far}, with ${site.kind.faults.full?.(name)}.`,
    expect: `0 V, at most ${SWITCHED_V} V`,
    reading: { unit: 'V', low: 0, high: SWITCHED_V, between: [near, back.far] },
    otherwise: `The signal is good and here is more: the transistor does not switch on. Change it. Good here and still dark: the ${core.colour} core of ${wire.label}, its resistor or the LED.`,
  }));
}

// --- what a relay switches --------------------------------------------------------------------------

function load(site: Site): TraceStep[] {
  const { name, prop } = site;
  if (site.load.length === 0) return [];
  const { contact, loadRail } = site;
  const rail = loadRail === undefined ? undefined : prop.rails[loadRail];
  const back = site.load.find(({ core }) => coreKind(core) === 'return');
  if (!contact) return [];
  const steps: TraceStep[] = [];
  // First its own supply: a contact without a feed has nothing to switch.
  if (rail && loadRail !== site.rail) {
    const fused = site.loadWay().some((link) => link.kind === 'fuse' && link.rail === loadRail);
    const { volts, supply: terminals, fuse } = rail;
    steps.push(
      ...source(loadRail!, {
        volts,
        terminals,
        fuse: fused ? fuse : undefined,
        battery: batteryOf(rail),
      }),
    );
    if (terminals)
      steps.push({
        power: 'on',
        check: `Measure what feeds the contact: ${contact.near} against ${terminals.return}.`,
        ...atLoad(rail, { plus: contact.near, return: terminals.return }),
        otherwise:
          'Good at the supply and not here: the fuse, the wires between them, or a terminal.',
      });
  }
  if (site.kind.switches) steps.push(...shunts(site));
  const state = site.fedAtRest ? 'off' : 'on';
  steps.push({
    power: 'on',
    check: `Listen, and measure across the contact: ${contact.near} against ${contact.far}, with sinew switch ${name} ${state}.`,
    expect: 'a click, and 0 V, at most 0.1 V',
    reading: { unit: 'V', low: 0, high: 0.1, between: [contact.near, contact.far] },
    otherwise: rail
      ? `A click and ${show(rail.volts)} V: the contact is burnt, change the relay. No click: its input or its coil.`
      : 'A click and a voltage: the contact is burnt. No click: its input or its coil.',
  });
  const out = site.load.find(
    ({ core, near }) => near === contact.far && coreKind(core) !== 'return',
  );
  if (rail && back && out)
    steps.push({
      power: 'on',
      check: `Measure at what it feeds: ${out.far} against ${back.far}, with sinew switch ${name} ${state}.`,
      ...atLoad(rail, { plus: out.far, return: back.far }),
      otherwise: `Good and still dead: the unit itself. Not good: ${out.wire.label}, its crimps and its return.`,
    });
  return steps;
}

// --- with the power off -----------------------------------------------------------------------------

function ohms(site: Site): TraceStep[] {
  const leads = [...site.signals, ...site.legs, site.plus, site.back].filter(
    (lead) => lead !== undefined,
  );
  if (leads.length === 0) return [];
  const steps: TraceStep[] = leads.map(({ wire, core, near, far }) => {
    const ohm = coreOhm(wire);
    const computed =
      ohm === undefined ? '' : ` (${tidy(ohm, 3)} ohm of copper; the leads add some)`;
    return {
      power: 'off',
      check: `Unplug both ends of ${wire.label} and measure its ${core.colour} core: ${near} to ${far}.`,
      expect: `below ${CONTACT_OHM} ohm${computed}; steady while you bend the wire`,
      reading: {
        unit: 'ohm',
        low: 0,
        high: tidy((ohm ?? 0) + CONTACT_OHM, 3),
        between: [near, far],
      },
      otherwise: `Open, or it jumps: the core is broken, mostly at a crimp or where it bends. Make ${wire.label} again.`,
    };
  });
  for (const [pole, lead] of [
    ['plus', site.plus],
    ['return', site.back],
  ] as const) {
    const start = site.supply?.[pole];
    const way = lead ? site.way(pole, lead.near) : [];
    if (start === undefined || way.length === 0) continue;
    const labels = way.flatMap((link) => (link.kind === 'core' ? [link.wire.label] : ['the fuse']));
    const copperOhm = way.reduce((sum, link) => sum + (linkOhms(link) ?? 0), 0);
    const shuntOhm = pole === 'plus' ? site.shuntOhm(lead!.near) : 0;
    const ohm = copperOhm + shuntOhm;
    const ofShunt = shuntOhm > 0 ? `, ${tidy(shuntOhm, 4)} ohm of shunt` : '';
    steps.push({
      power: 'off',
      check: `Unplug the supply and measure the feed of the ${pole}: ${start} to ${lead!.near}.`,
      expect: `below ${CONTACT_OHM} ohm (${tidy(copperOhm, 3)} ohm of copper${ofShunt})`,
      reading: {
        unit: 'ohm',
        low: 0,
        high: tidy(ohm + CONTACT_OHM, 3),
        between: [start, lead!.near],
      },
      otherwise: `Open: one of ${labels.join(', ')}, or a terminal between them. Measure again halfway between.`,
    });
  }
  const [a, b] = [leads[0]!, leads.at(-1)!];
  if (a !== b)
    steps.push({
      power: 'off',
      check: `Both ends still unplugged: each core of ${a.wire.label} against each other one, such as ${a.far} to ${b.far}.`,
      expect: 'open: more than 1 Mohm',
      reading: { unit: 'ohm', low: OPEN_OHM, high: null, between: [a.far, b.far] },
      otherwise:
        'Less: the insulation is cut or pinched. Make the wire again, and protect the place.',
    });
  return steps;
}

function swap({ kind, name, signals }: Site): TraceStep {
  const plug = signals[0] ? splitEnd(signals[0].far).connector : 'its plug';
  return {
    power: 'off',
    check: `Put a ${kind.words.part} that is known to be good on ${plug}${kind.moves ? ', its linkage off' : ''}, and switch on.`,
    expect: `sinew identify ${name} shows it working`,
    otherwise: kind.moves
      ? 'Works: the old servo is dead; teach the new one its limits before the linkage goes on.'
      : 'Works: the old part is dead. Does not work: go back to the first step with fresh eyes.',
  };
}

/** Too little voltage arrives, or too much is asked of it. */
function weak(site: Site): TraceStep[] {
  const { kind, name } = site;
  const steps: TraceStep[] = [
    {
      power: 'on',
      check: `Let it work, and read sinew senses and sinew journal: the voltage of rail ${site.rail ?? 'of it'}, dips, wires that are named.`,
      expect: 'no warning, and no dip when it starts',
      otherwise:
        'A voltage that is low everywhere: the supply or the battery. A wire that is named: start there.',
    },
  ];
  if (kind.moves)
    steps.push({
      power: 'off',
      check: `Take the linkage off the horn of ${name}, and move what it drives with one finger.`,
      expect: 'it moves freely, all the way',
      otherwise: 'It binds or is heavy: free it, or balance it. The servo was not weak.',
    });
  return [...steps, look(site), ...supply(site), ...load(site), ...ohms(site), swap(site)];
}

/** What has been measured while the prop ran, before anything that a person measures. */
export function measuredStep(found: WeakWires): TraceStep {
  const { wires, far, measuredMv, computedMv, amps, excessOhm } = found;
  const which = wires.join(' or ');
  return {
    power: 'off',
    check: `Measured while it ran: up to ${far}, ${measuredMv} mV at ${amps} A, and ${computedMv} mV computed, so ${which} has ${Math.round(excessOhm * 1000)} mohm more than the wires explain. Look at its crimps, terminals and fuse holder; pull each core gently.`,
    expect: 'every crimp firm and bright, every screw tight, nothing brown',
    otherwise:
      'Loose, brown or crimped on insulation: make it again with the tool for that contact. The journal says when the wires explain the drop again.',
  };
}

// --- the other symptoms -----------------------------------------------------------------------------

function buzzing(site: Site, servo: ServoChannel): TraceStep[] {
  const { name } = site;
  const { idleA = 0, movingA = 0, stallA = 0 } = servo.draw ?? {};
  const steps: TraceStep[] = [
    {
      power: 'on',
      check: `Jog it away from where it is, in small steps: sinew session, then jog ${name} 1 or jog ${name} -1.`,
      expect: 'the buzz stays the same everywhere',
      otherwise:
        'It ends within a few steps: it pushed against a stop. Set the limit there (sinew limit), and the mark and the park position with it.',
    },
    {
      power: 'off',
      check: 'Take the linkage off the horn, then switch on and listen again.',
      expect: 'it still buzzes',
      otherwise:
        'Quiet: the linkage binds or carries too much. Free it; it must move with one finger.',
    },
  ];
  if (stallA > 0)
    steps.push({
      power: 'on',
      check: `Measure its current while it holds: the ammeter of the supply, or a clamp around ${site.plus?.core.colour ?? 'plus'} at ${site.plus?.near ?? 'its terminal'}.`,
      expect: `about ${show(idleA)} A, and less than ${show(movingA)} A`,
      reading: { unit: 'A', low: 0, high: movingA, between: site.plus ? [site.plus.near] : [] },
      otherwise: `Near ${show(stallA)} A: it is stalled and heats up. Let it go (sinew park) and look for what blocks it.`,
    });
  return [...steps, ...supply(site), ...signal(site), swap(site)];
}

function wrongWay(site: Site, servo: ServoChannel): TraceStep[] {
  const { name } = site;
  const [low, high] = [servo.calibration[0]!, servo.calibration.at(-1)!];
  const back = `${low[0]} us is ${low[1]} deg, ${high[0]} us is ${high[1]} deg`;
  const turned = `turn the calibration (now ${back}) by putting its angles in the reverse order, and check the limits before it goes near a stop.`;
  return [
    {
      power: 'on',
      check: `sinew identify ${name}, and watch which part moves.`,
      expect: `${name} itself moves`,
      otherwise: `Another one moves: two signal plugs are swapped. Compare ${site.signals[0]?.near ?? 'its pin'} and the label ${site.signals[0]?.wire.label ?? ''} on the wire.`,
    },
    {
      power: 'on',
      check: `sinew jog ${name} 2, from the middle of its travel.`,
      expect: 'the angle grows: it moves towards its higher mark',
      otherwise: servo.linkage
        ? 'It moves the other way: find out in the next steps whether the horn or the linkage is not as the file says.'
        : `It moves the other way: ${turned}`,
    },
    ...(servo.linkage ? linkageWay(name, servo.linkage, high[1] > low[1], turned) : []),
    {
      power: 'off',
      check: 'Look at the horn: is it on the spline where it was when the marks were captured?',
      expect: 'the same tooth as before',
      otherwise: 'Shifted: put it back, or capture limits and marks again with the linkage off.',
    },
    ...signal(site),
  ];
}

/** Whether horn and rod are as drawn. */
function linkageWay(
  name: string,
  { crossed, hornZeroDeg }: NonNullable<ServoChannel['linkage']>,
  rises: boolean,
  turned: string,
): TraceStep[] {
  const side = crossed ? 'on the same side of it as the shaft' : 'on the side away from the shaft';
  return [
    {
      power: 'on',
      check: `Take the rod off and jog ${name} back and forth by a few us (sinew jog ${name} 10 --us), looking from the side from which rising angles of the flap turn anticlockwise.`,
      expect: `with a longer pulse the horn turns ${rises ? 'anticlockwise' : 'clockwise'}`,
      otherwise: `It turns the other way: ${turned}`,
    },
    {
      power: 'off',
      check: `Put the rod back. With the horn where the calibration says 0 (${hornZeroDeg} deg from the direction shaft to hinge), lay a ruler from the horn's pin to the hinge.`,
      expect: `the pin in the flap is ${side}`,
      otherwise: `It is on the other side: write crossed: ${!crossed} in the linkage, and check the limits before it goes near a stop.`,
    },
  ];
}

function dimAsk(site: Site): TraceStep {
  const { channel, kind, name } = site;
  const balance =
    'whiteBalance' in channel && channel.whiteBalance.some((gain) => gain < 1)
      ? `; its white balance ${channel.whiteBalance.join(', ')} takes some on purpose`
      : '';
  return {
    power: 'on',
    check: `Ask for all of it: ${kind.faults.full?.(name)}, and read sinew status.`,
    expect: `full, and full in the status${balance}`,
    otherwise: 'Less in the status: a cue, an idle behaviour or the flash limit holds it down.',
  };
}

function staysOn(site: Site): TraceStep[] {
  const { kind, name } = site;
  const relay = relayOf(site.channel);
  const lead = site.signals[0];
  const steps: TraceStep[] = [
    {
      power: 'on',
      check: `${kind.faults.off?.(name)}, then sinew status.`,
      expect: 'off in the status',
      otherwise: 'Still on: something holds it; sinew journal says what. sinew stop 0 ends it.',
    },
    ...signal(site),
    {
      power: 'off',
      check: `Pull the signal at ${lead?.far ?? 'its input'}, then switch on.`,
      expect: 'off',
      otherwise: relay
        ? `On: the contact is welded, or the input is ${pull(relay)} by itself. Change the relay; do not trust it again.`
        : 'On: the driver of the light has failed short. Change it.',
    },
  ];
  const { contact } = site;
  if (relay && contact)
    steps.push({
      power: 'off',
      check: site.fedAtRest
        ? `Measure the contact with power on the coil only: ${contact.near} to ${contact.far}, the load and its supply unplugged.`
        : `Measure the open contact, the load and its supply unplugged: ${contact.near} to ${contact.far}.`,
      expect: 'open: more than 1 Mohm',
      reading: { unit: 'ohm', low: OPEN_OHM, high: null, between: [contact.near, contact.far] },
      otherwise: 'Less: welded. Change it, and look at the current it switches.',
    });
  return steps;
}

function pull(relay: RelayChannel): string {
  return activeLow(relay) ? 'pulled low' : 'pulled high';
}
