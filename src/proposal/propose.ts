import { type Board, type DriverName, factsOf, setUpOf } from '../boards/registry.ts';
import { USUAL_SPREAD_V } from '../prop/kinds/light-parts.ts';
import { UNGUARDED_A } from '../prop/lint-relay.ts';
import { freeName } from '../prop/name.ts';
import { PARTS } from '../prop/parts.ts';
import { tidy } from '../shared/units.ts';
import { ledResistor } from '../sums/resistor.ts';
import {
  type Answers,
  BOUNDS,
  isColoured,
  type LightAnswer,
  LOADS,
  type RelayAnswer,
  USUAL_LIGHTS,
} from './answers.ts';
import {
  COIL_A,
  type Draft,
  type DraftChannel,
  type LightDraft,
  type RelayDraft,
  type ServoDraft,
  type SoundDraft,
} from './draft.ts';
import { fileText } from './file-text.ts';
import { type Electrical, type Layout, layOut, type Place, type Where } from './layout.ts';
import { CARD_REASON, FIRST_SOUND, LOUD_CAUTION, SOUND_REASONS, SPEAKER } from './loudspeaker.ts';
import { hasPins, nameTrouble, type PinSlot, type Slot, type SoundSlot, slotsOf } from './slots.ts';
import {
  type Branch,
  fusesFor,
  planSupplies,
  type RailLoad,
  type Supply,
  type SupplyPlan,
} from './supplies.ts';

/**
 * A prop file proposed from a maker's answers: boards and pins, names, park positions, limits, supplies,
 * rails, fuses and groups, each with its reason. Pure: answers in, proposal out.
 */

/** One thing that was decided for the maker, who may decide otherwise. */
export interface Decision {
  /** For `changes`: `claw_left.pin`. */
  id: string;
  what: string;
  value: string;
  why: string;
  /** The only values that it may have. */
  options?: readonly string[];
}

/** What of the answers or changes cannot be, and what is proposed in its place. */
export interface Problem {
  id: string;
  wrong: string;
}

export interface Proposal {
  /** The prop file. */
  text: string;
  decisions: Decision[];
  /** What can hurt somebody, and what only measuring can tell. */
  cautions: string[];
  problems: Problem[];
  /** Cable from the board to each channel (m), by its name. */
  lengthsM: Record<string, number>;
  supplies: readonly Supply[];
}

/** What the proposal cannot do at all. */
export class TooMuch extends Error {}

/** A servo's pulse for each degree (us): 1000 to 2000 us for 90 deg is common (no source). */
const US_PER_DEG = 1000 / 90;
const MIDDLE_US = 1500;
/** What a vapour disc takes from its tank (ml/h): `piezo-disc-24v` of the library says some 300. */
const VAPOUR_ML_PER_H = 300;
/** A relay without a duty limit of its own: a cautious one, from where check asks for one (s). */
const CAUTIOUS_DUTY = { maxOnS: 60, restS: 60 };
/** LEDs with a resistor on any of these (V). */
const LED_VOLTS = [4.5, 12.6] as const;
const LOGIC_V = 5;
/** Speeds that a maker may choose (deg/s). */
const SPEEDS = [10, 400] as const;
const USUAL_DEADLINE_S = 10;
/** Ceilings (share of full scale) and fades (s) that a maker may choose; the fade leaves the servos time to park. */
const CEILINGS = [0.01, 1] as const;
const FADES_S = [0, 5] as const;

const asNumber = (text: string) => (text.trim() === '' ? Number.NaN : Number(text));

/**
 * The proposal for a prop.
 * @throws TooMuch where no proposal is possible: more than the boards of one prop can drive
 */
export function propose(answers: Answers): Proposal {
  return new Proposer(answers).run();
}

class Proposer {
  readonly #answers: Answers;
  readonly #slots: Slot[];
  readonly #pinSlots: PinSlot[];
  readonly #decisions: Decision[] = [];
  readonly #problems: Problem[] = [];
  readonly #cautions: string[] = [];
  readonly #unused: Set<string>;
  /** The first names of rails that the maker calls otherwise: changes are about those. */
  readonly #railIds = new Map<Branch, string>();
  /** Lights that hang on their pins themselves, by their ids. */
  readonly #direct: ReadonlySet<string>;

  constructor(answers: Answers) {
    this.#answers = answers;
    this.#slots = slotsOf(answers);
    this.#pinSlots = this.#slots.filter(hasPins);
    this.#direct = directLights(this.#pinSlots, answers.computer);
    this.#unused = new Set(Object.keys(answers.changes));
  }

  run(): Proposal {
    this.#name();
    const electrical = new Map(
      this.#pinSlots.map((slot) => [slot.id, electricalOf(slot, this.#direct)]),
    );
    const layout = this.#layout(electrical);
    const plan = this.#supplies();
    const channels = this.#slots.map((slot, i) => this.#channel(slot, i, layout, plan));
    this.#rails(plan);
    const groups = this.#groups();
    const deadlineS = deadlineOf(channels);
    this.#warn(plan, layout);
    for (const id of this.#unused)
      this.#problems.push({ id, wrong: 'there is no such thing to change' });
    const draft: Draft = {
      ...{ answers: this.#answers, channels, layout, plan, groups, deadlineS },
      cautions: this.#cautions,
    };
    return {
      text: fileText(draft),
      decisions: this.#decisions,
      cautions: this.#cautions,
      problems: this.#problems,
      lengthsM: Object.fromEntries(
        this.#pinSlots.map(({ name, answer }) => [name, answer.lengthM]),
      ),
      supplies: plan.supplies,
    };
  }

  /** What the maker wants instead; undefined where nothing is said. */
  #change(id: string): string | undefined {
    if (!Object.hasOwn(this.#answers.changes, id)) return undefined;
    this.#unused.delete(id);
    return this.#answers.changes[id]!.trim();
  }

  #decide(decision: Decision): void {
    this.#decisions.push(decision);
  }

  /** A choice of a few words. */
  #choose<T extends string>(
    id: string,
    what: string,
    options: readonly T[],
    usual: T,
    why: string,
  ): T {
    const wanted = this.#change(id);
    const known = options.find((one) => one === wanted);
    if (wanted !== undefined && known === undefined)
      this.#problems.push({ id, wrong: `${wanted} is not one of ${options.join(', ')}` });
    const value = known ?? usual;
    this.#decide({ id, what, value, why: known ? 'you chose it' : why, options });
    return value;
  }

  /** A number within bounds; undefined where the maker has not said any that will do. */
  #number(id: string, [low, high]: readonly [number, number], unit: string): number | undefined {
    const wanted = this.#change(id);
    if (wanted === undefined) return undefined;
    const value = asNumber(wanted);
    if (value >= low && value <= high) return value;
    this.#problems.push({
      id,
      wrong: `${wanted} is not a number within ${tidy(low)} to ${tidy(high)} ${unit}`,
    });
    return undefined;
  }

  // --- names, boards, pins --------------------------------------------------------------------------

  #name(): void {
    const taken = new Set(this.#slots.map(({ name }) => name));
    for (const slot of this.#slots) {
      const id = `${slot.id}.name`;
      const wanted = this.#change(id);
      if (wanted === undefined || wanted === slot.name) continue;
      const wrong = nameTrouble(wanted, taken);
      if (wrong) this.#problems.push({ id, wrong });
      else {
        taken.delete(slot.name);
        taken.add(wanted);
        slot.name = wanted;
      }
    }
  }

  #layout(electrical: ReadonlyMap<string, Electrical>): Layout {
    const pins = new Map<string, string>();
    for (const { id } of this.#pinSlots) {
      const wanted = this.#change(`${id}.pin`);
      if (wanted !== undefined) pins.set(id, wanted);
    }
    const wish = (id: string): Where | undefined => {
      const wanted = this.#change(id);
      if (wanted === undefined) return undefined;
      if (wanted === 'header' || wanted === 'chips') return wanted;
      this.#problems.push({ id, wrong: `${wanted} is not one of header, chips` });
      return undefined;
    };
    const [servos, lights] = [wish('boards.servos'), wish('boards.lights')];
    const stopPin = this.#change('stop.pin');
    const wishes = { pins, ...(stopPin !== undefined && { stopPin }) };
    const all = { ...wishes, ...(servos && { servos }), ...(lights && { lights }) };
    let layout = layOut(this.#answers, this.#pinSlots, electrical, all);
    if (!layout && (servos || lights)) {
      for (const [id, wanted] of [
        ['boards.servos', servos],
        ['boards.lights', lights],
      ] as const)
        if (wanted) this.#problems.push({ id, wrong: `not all of them fit on the ${wanted}` });
      layout = layOut(this.#answers, this.#pinSlots, electrical, wishes);
    }
    if (!layout)
      throw new TooMuch(
        'more relays and lights than the header and the boards beside it have pins for; leave some out, and write the rest by hand',
      );
    for (const [id, wrong] of layout.refused) this.#problems.push({ id: `${id}.pin`, wrong });
    const has = (from: Slot['from']) => this.#slots.some((slot) => slot.from === from);
    for (const [from, key, words] of [
      ['moves', 'servos', 'where the servos are connected'],
      ['lights', 'lights', 'where the lights are connected'],
    ] as const)
      if (has(from))
        this.#decide({
          id: `boards.${key}`,
          what: words,
          value: layout[key],
          why: (key === 'servos' ? servos : lights) ? 'you chose it' : layout.why,
          options: ['header', 'chips'],
        });
    if (layout.stopPin !== undefined)
      this.#decide({
        id: 'stop.pin',
        what: 'stop button: pin',
        value: layout.boards.get(layout.header)!.word(layout.stopPin),
        why: 'a contact to ground that rests closed, so that a broken wire stops the prop, too',
      });
    return layout;
  }

  // --- supplies -------------------------------------------------------------------------------------

  #supplies(): SupplyPlan {
    const loads = this.#pinSlots.flatMap((slot): RailLoad[] => {
      const own = loadsOf(slot, this.#direct);
      for (const load of own) {
        const wish = this.#change(`${load.id}.supply`);
        if (wish !== undefined) load.wish = wish;
      }
      return own;
    });
    const plan = planSupplies(loads, this.#answers.supplies);
    for (const { id, why } of plan.refused) this.#problems.push({ id: `${id}.supply`, wrong: why });
    this.#railNames(plan);
    return plan;
  }

  #railNames({ supplies }: SupplyPlan): void {
    const branches = supplies.flatMap((supply) => supply.branches);
    const taken = new Set(branches.map(({ name }) => name));
    for (const branch of branches) {
      const id = `${branch.name}.name`;
      const wanted = this.#change(id);
      const wrong =
        wanted === undefined || wanted === branch.name ? undefined : nameTrouble(wanted, taken);
      if (wrong) this.#problems.push({ id, wrong });
      else if (wanted !== undefined) {
        taken.add(wanted);
        this.#railIds.set(branch, branch.name);
        branch.name = wanted;
      }
      this.#decide({
        id,
        what: `rail ${branch.name}: name`,
        value: branch.name,
        why:
          wanted !== undefined && !wrong ? 'you chose it' : 'from what it feeds, and its voltage',
      });
    }
  }

  #rails(plan: SupplyPlan): void {
    for (const { id, volts, amps, source, branches, toBuy } of plan.supplies) {
      if (branches.length === 0) {
        this.#cautions.push(
          `${id} (${volts} V, ${amps} A) is not used: it suits nothing, or is too weak for all that it suits.`,
        );
        continue;
      }
      if (toBuy)
        this.#cautions.push(
          `${id} is a supply to buy: ${volts} V, ${amps} A or more. No other suits what it feeds, or has room for it.`,
        );
      for (const branch of branches) {
        const railId = this.#railIds.get(branch) ?? branch.name;
        const limit = this.#number(`${railId}.limitA`, [branch.needA, amps], 'A');
        if (limit !== undefined) branch.limitA = limit;
        this.#decide({
          id: `${railId}.limitA`,
          what: `rail ${branch.name}: limit`,
          value: `${branch.limitA} A`,
          why:
            limit !== undefined
              ? 'you chose it'
              : branches.length > 1
                ? `its share of the ${amps} A of ${id}; ${branch.needA} A flow with everything on and starting`
                : `what ${id} gives, no more than its fuse; ${branch.needA} A flow with everything on and starting`,
        });
        this.#fuse(branch, railId, source);
      }
    }
  }

  #fuse(branch: Branch, railId: string, source: 'mains' | 'battery'): void {
    const ratings = fusesFor(branch).map(String);
    const id = `${railId}.fuseA`;
    const wanted = this.#change(id)?.replace(/\s*A$/, '');
    const why = `carries the ${tidy(branch.busyA)} A of everything on and the ${branch.needA} A of the starts, and protects its wires (ISO 8820)`;
    if (wanted !== undefined && !ratings.includes(wanted))
      this.#problems.push({
        id,
        wrong: `a fuse of ${wanted} A does not carry what flows, or does not protect the wires; use one of ${ratings.join(', ')}`,
      });
    else if (wanted !== undefined) branch.fuseA = Number(wanted);
    if (branch.fuseA === undefined) return;
    this.#decide({
      id,
      what: `rail ${branch.name}: fuse ${source === 'battery' ? 'at the battery' : 'at the supply'}`,
      value: `${branch.fuseA} A`,
      why: wanted !== undefined && ratings.includes(wanted) ? 'you chose it' : why,
      options: ratings,
    });
  }

  // --- channels -------------------------------------------------------------------------------------

  #channel(slot: Slot, index: number, layout: Layout, plan: SupplyPlan): DraftChannel {
    const { id, name } = slot;
    const why: Record<string, string> = {};
    this.#decide({
      id: `${id}.name`,
      what: `${name}: name`,
      value: name,
      why: name === id ? 'from what you called it' : 'you chose it',
    });
    if (!hasPins(slot)) return this.#sound(slot, why);
    const place = layout.places.get(id)!;
    const board = layout.boards.get(place.board)!;
    why.pin = place.chosen
      ? `you chose it${place.remark ? `, but ${place.remark}` : ''}`
      : pinReason(slot, place, layout);
    this.#decide({
      id: `${id}.pin`,
      what: `${name}: ${place.pins.length > 1 ? 'pins' : 'pin'}`,
      value: `${place.board} ${place.pins.join(' ')}`,
      why: why.pin,
    });
    if (slot.answer.place !== undefined) this.#place(slot);
    const draft: DraftChannel = {
      ...{ slot, name, place, why },
      rail: plan.branchOf.get(slot.from === 'relays' ? `${id}.coil` : id),
      loadRail: slot.from === 'relays' ? plan.branchOf.get(id) : undefined,
    };
    for (const [load, branch] of [
      [slot.from === 'relays' ? `${id}.coil` : id, draft.rail],
      [id, draft.loadRail],
    ] as const)
      if (branch)
        this.#decide({
          id: `${load}.supply`,
          what: `${load === id ? name : `${name}, module`}: supply`,
          value: branch.supply.id,
          why: supplyReason(branch),
          options: plan.supplies.map(({ id: one }) => one),
        });
    switch (slot.from) {
      case 'moves':
        draft.servo = this.#servo(slot, why);
        break;
      case 'lights':
        draft.light = this.#light(slot, draft, factsOf(board.entry).electrics(board.entry), why);
        break;
      case 'relays':
        draft.relay = this.#relay(slot, index, why);
    }
    return draft;
  }

  /** Where in the prop it sits; the wires to one place run together. */
  #place(slot: Slot): void {
    const id = `${slot.id}.place`;
    const wanted = this.#change(id);
    if (wanted !== undefined && (wanted === '' || wanted.length > BOUNDS.place))
      this.#problems.push({
        id,
        wrong: `say where it sits in 1 to ${BOUNDS.place} characters, or write none`,
      });
    else if (wanted !== undefined) slot.place = wanted === 'none' ? undefined : wanted;
    this.#decide({
      id,
      what: `${slot.name}: place`,
      value: slot.place ?? 'none',
      why: wanted === undefined ? 'as you said; the wires to it run together' : 'you chose it',
    });
  }

  #servo({ id, name, answer }: Slot & { from: 'moves' }, why: Record<string, string>): ServoDraft {
    const { part } = answer;
    const typical = PARTS[part]!.typical as { speedDegS: number; accelDegS2: number };
    const rests = this.#choose(
      `${id}.rests`,
      `${name}: rests at`,
      ['end', 'middle'],
      answer.rests,
      'as you said; it parks there',
    );
    const { travelDeg, calibration, limitsDeg, marks } = this.#range(id, name, answer, rests);
    const to = rests === 'end' ? 'rest' : 'middle';
    const then = this.#choose(
      `${id}.then`,
      `${name}: at rest`,
      ['hold', 'release'],
      rests === 'end' ? 'release' : 'hold',
      rests === 'end'
        ? 'it lies at its end and goes quiet; hold, if it would fall from there'
        : 'in the middle it could fall if its servo let go',
    );
    why.limits = `the ${travelDeg} deg that you gave; feel for the real ends by jogging, then capture them`;
    why.park = `its park position (${rests}); ${then === 'hold' ? 'its pulses go on' : 'its pulses stop, and it goes quiet'}`;
    const speedDegS = this.#number(`${id}.speedDegS`, SPEEDS, 'deg/s');
    this.#decide({
      id: `${id}.speedDegS`,
      what: `${name}: speed`,
      value: `${speedDegS ?? typical.speedDegS} deg/s`,
      why: speedDegS === undefined ? `a calm speed, by part ${part}` : 'you chose it',
    });
    return {
      ...{ calibration, limitsDeg, marks, park: { to, then } },
      ...(speedDegS !== undefined && { speedDegS, accelDegS2: 5 * speedDegS }),
    };
  }

  /** Calibration, limits and marks; until they are measured, what is common for a servo. */
  #range(id: string, name: string, answer: { travelDeg: number }, rests: 'end' | 'middle') {
    const wanted = this.#number(`${id}.travelDeg`, BOUNDS.travelDeg, 'deg');
    const travelDeg = wanted ?? answer.travelDeg;
    this.#decide({
      id: `${id}.travelDeg`,
      what: `${name}: travel, end to end`,
      value: `${travelDeg} deg`,
      why: wanted === undefined ? 'as you said' : 'you chose it',
    });
    const half = tidy(travelDeg / 2, 2);
    const limitsDeg: [number, number] = rests === 'end' ? [0, tidy(travelDeg, 2)] : [-half, half];
    const aside = Math.round((travelDeg / 2) * US_PER_DEG);
    const calibration: ServoDraft['calibration'] = [
      [MIDDLE_US - aside, limitsDeg[0]],
      [MIDDLE_US + aside, limitsDeg[1]],
    ];
    const marks: Record<string, number> =
      rests === 'end'
        ? { rest: 0, out: limitsDeg[1] }
        : { middle: 0, low: limitsDeg[0], high: limitsDeg[1] };
    return { travelDeg, calibration, limitsDeg, marks };
  }

  #light(
    { id, name, answer }: Slot & { from: 'lights' },
    { rail, place }: DraftChannel,
    pins: { highV: number; sourceA: number },
    why: Record<string, string>,
  ): LightDraft {
    const part = partOf(answer);
    const through = wiringOf(answer, this.#direct.has(id));
    const words: Record<LightAnswer['wired'], string> = {
      'n-mosfet': `a pin gives ${tidy(1000 * pins.sourceA, 1)} mA at most: logic-level MOSFETs switch the light to ground`,
      'driver board': 'it has its own driver, whose input takes a signal only',
      pin: 'its current is small enough for the pin',
    };
    why.through =
      through === answer.wired
        ? words[through]
        : `${words[through]}; directly on the pin, as you said, it would be too much, or too little voltage`;
    this.#decide({
      id: `${id}.through`,
      what: `${name}: between pin and light`,
      value: through,
      why: why.through,
    });
    if (place.pull)
      why.pin += `; fit a resistor of 10 kohm from ${place.pins.length > 1 ? 'each pin' : 'the pin'} to ${place.pull === 'down' ? 'ground' : 'plus'}`;
    const supplyV = through === 'pin' ? pins.highV : rail?.supply.volts;
    const resistorOhm = through === 'driver board' ? [] : resistorsOf(part, supplyV);
    if (resistorOhm.length > 0)
      why.led = `series resistors for ${supplyV} V (sinew budget shows the sums)`;
    return { part, through, resistorOhm };
  }

  #relay(
    { id, name, answer }: Slot & { from: 'relays' },
    index: number,
    why: Record<string, string>,
  ): RelayDraft {
    const { load, tankMl, amps } = answer;
    const part = LOADS[load].part;
    const typical = part === undefined ? undefined : PARTS[part]!.typical;
    const onA = amps ?? (typical?.draw as { onA: number } | undefined)?.onA ?? 0;
    const momentary = typical?.contact === 'momentary';
    const connector = `K${this.#slots.slice(0, index).filter(({ from }) => from === 'relays').length + 1}`;
    const given = this.#change(`${id}.duty`);
    const chosen = dutyOf(given);
    const none = given === 'none' && typical?.duty === undefined;
    if (given !== undefined && !none && !chosen)
      this.#problems.push({
        id: `${id}.duty`,
        wrong: `${given} is not a duty; give seconds on and seconds of rest, such as 30/60${typical?.duty ? '' : ', or none'}`,
      });
    const own = typical?.duty as RelayDraft['duty'];
    const duty =
      chosen ??
      (!own && !momentary && given !== 'none' && onA + COIL_A > UNGUARDED_A
        ? CAUTIOUS_DUTY
        : undefined);
    const shown = duty ?? own;
    if (!shown && !momentary)
      this.#decide({
        id: `${id}.duty`,
        what: `${name}: on, and rest`,
        value: 'none',
        why: given === undefined ? `${tidy(onA)} A: it may stay on` : 'you chose it',
      });
    if (shown)
      this.#decide({
        id: `${id}.duty`,
        what: `${name}: on, and rest`,
        value: `${shown.maxOnS}/${shown.restS} s`,
        why: chosen
          ? 'you chose it'
          : own
            ? `by part ${part}; the data sheet of your unit takes precedence`
            : `it takes ${tidy(onA)} A: a cautious limit, until you know its data sheet`,
      });
    const vapour =
      load === 'vapour' && tankMl !== undefined
        ? { tankMl, rateMlPerH: VAPOUR_ML_PER_H }
        : undefined;
    why.duty = chosen ? 'you chose it' : `a cautious limit for ${tidy(onA)} A`;
    return { part, connector, momentary, onA, duty, vapour, lit: load === 'light' };
  }

  #sound(slot: SoundSlot, why: Record<string, string>): DraftChannel {
    const { id, name, answer } = slot;
    if (answer.place !== undefined) this.#place(slot);
    this.#choose(`${id}.card`, `${name}: sound card`, [SPEAKER], SPEAKER, CARD_REASON);
    const sound: SoundDraft = { ...FIRST_SOUND };
    for (const [key, bounds, of, what, unit] of [
      ['ceiling', CEILINGS, 'of full scale', 'ceiling, a share of full scale', ''],
      ['fadeOutS', FADES_S, 's', 'fade to silence', ' s'],
    ] as const) {
      const chosen = this.#number(`${id}.${key}`, bounds, of);
      sound[key] = chosen ?? FIRST_SOUND[key];
      why[key] = chosen === undefined ? SOUND_REASONS[key] : `you chose it; ${SOUND_REASONS[key]}`;
      this.#decide({
        id: `${id}.${key}`,
        what: `${name}: ${what}`,
        value: `${sound[key]}${unit}`,
        why: chosen === undefined ? SOUND_REASONS[key] : 'you chose it',
      });
    }
    const place = { board: SPEAKER, pins: [], chosen: false };
    return { slot, name, place, why, rail: undefined, loadRail: undefined, sound };
  }

  // --- groups and cautions --------------------------------------------------------------------------

  #groups(): Draft['groups'] {
    const groups: Draft['groups'] = [];
    const taken = new Set(this.#slots.map(({ name }) => name));
    const known = new Map(this.#slots.map((slot) => [slot.id, slot.name]));
    const sets = new Map<string, (Slot & { from: 'moves' })[]>();
    for (const slot of this.#slots)
      if (slot.from === 'moves') sets.set(slot.group, [...(sets.get(slot.group) ?? []), slot]);
    for (const slots of sets.values()) {
      if (slots.length < 2) continue;
      const word = slots[0]!.answer.name;
      const id = freeName(/s$/i.test(word) ? `${word}_all` : `${word}s`, taken);
      taken.add(id);
      const given = this.#change(`${id}.group`);
      const ids = given?.split(/[\s,]+/).filter(Boolean);
      const servos = new Set(
        this.#slots.filter(({ from }) => from === 'moves').map(({ name }) => name),
      );
      const strange = ids?.filter((one) => one !== 'none' && !servos.has(known.get(one) ?? one));
      if (strange && strange.length > 0)
        this.#problems.push({
          id: `${id}.group`,
          wrong: `${strange.join(', ')} is not a servo here; name servos, or write none`,
        });
      const sound =
        ids && strange!.length === 0 ? ids.map((one) => known.get(one) ?? one) : undefined;
      const members = [...new Set(sound ?? slots.map(({ name }) => name))];
      const none = members.includes('none');
      const why = sound ? 'you chose it' : 'they are alike, and start and arrive together';
      this.#decide({
        id: `${id}.group`,
        what: `group ${id}`,
        value: none ? 'none' : members.join(' '),
        why,
      });
      if (!none && members.length > 0) groups.push({ name: id, members, why });
    }
    return groups;
  }

  #warn({ supplies }: SupplyPlan, layout: Layout): void {
    const cautions = this.#cautions;
    const has = (from: Slot['from']) => this.#slots.some((slot) => slot.from === from);
    const switches = (load: RelayAnswer['load']) =>
      this.#slots.some((slot) => slot.from === 'relays' && slot.answer.load === load);
    const used = supplies.filter(({ branches }) => branches.length > 0);
    if (has('moves'))
      cautions.push(
        'Pinch points: servos move without warning and do not feel a finger. Keep hands out of hinges and linkages while the prop is awake.',
        'Nothing here is measured yet: pulses and angles are common values, from memory. Try each servo alone with its horn off, feel for its ends by jogging, and capture limits, marks and park position.',
      );
    if (used.some(({ source }) => source === 'mains'))
      cautions.push(
        'Mains: use closed supplies with approval marks. Nothing here switches mains, and no relay of this prop may; leave it to a licensed person, under your local code.',
      );
    if (used.some(({ source }) => source === 'battery'))
      cautions.push(
        'Batteries: fuse every pack at its terminal, and never charge lithium cells unattended or inside the prop.',
      );
    if (switches('vapour') || switches('pump'))
      cautions.push(
        'Water near electronics: keep vapour and pumps below and away from the boards, let them drain, and keep to the duty limits of their makers.',
      );
    if (has('lights') || switches('light'))
      cautions.push(
        'Flashing light can cause seizures: all lights together flash three times a second at most (WCAG 2.2, 2.3.1). Put up a notice anyway.',
      );
    if (this.#slots.some((slot) => slot.from === 'lights' && partOf(slot.answer) === 'lamp-12v'))
      cautions.push(
        'Filament bulbs get hot, and take about ten times their current while they are cold (typical, from memory): measure whether the fuse carries it.',
      );
    if (has('sounds')) cautions.push(LOUD_CAUTION);
    if (this.#answers.stopButton)
      cautions.push(
        'The stop button is an addition to a switch that cuts the power of the actuators, never a substitute (ISO 13850). Fit that switch first.',
      );
    else
      cautions.push(
        'There is no stop button on a pin. Fit a switch within reach that cuts the power of the actuators.',
      );
    const uncut = [...layout.boards.keys()].filter(
      (name) => name !== layout.header && !layout.enables.has(name),
    );
    if (uncut.length > 0)
      cautions.push(
        `Board ${uncut.join(', ')} keeps its outputs while its bus is dead: no pulled-up pin was left to cut it.`,
      );
  }
}

/** The part of a light, where the maker names none. */
function partOf({ kind, part }: LightAnswer): string {
  return part ?? USUAL_LIGHTS[kind];
}

/** `30/60`: seconds on, and seconds of rest; undefined where it is not that. */
function dutyOf(text: string | undefined): RelayDraft['duty'] {
  const [, on, rest] = /^(\d+(?:\.\d+)?)\s*[/ ]\s*(\d+(?:\.\d+)?)$/.exec(text ?? '') ?? [];
  const duty = { maxOnS: Number(on), restS: Number(rest) };
  return duty.maxOnS > 0 && duty.restS > 0 ? duty : undefined;
}

/** Three, or one: forward voltages and current of the LEDs of a part. */
function ledsOf(part: string): { forwardV: number; currentA: number }[] {
  const led = PARTS[part]!.typical.led as
    | { forwardV: number | number[]; currentA: number }
    | undefined;
  if (!led) return [];
  return [led.forwardV].flat().map((forwardV) => ({ forwardV, currentA: led.currentA }));
}

function resistorsOf(part: string, supplyV: number | undefined): number[] {
  if (supplyV === undefined) return [];
  return ledsOf(part).flatMap(
    (led) => ledResistor({ ...led, spreadV: USUAL_SPREAD_V, supplyV })?.ohm ?? [],
  );
}

/** Of what all pins of a header bear together, lights directly on them get so much (no source). */
const DIRECT_SHARE = 0.5;
/** Pins that may be given away to lights without a MOSFET. */
const DIRECT_PINS = 4;

/** The lights that may hang on their pins: these bear the current, and reach the voltage of the LEDs. */
function directLights(slots: readonly PinSlot[], computer: string): Set<string> {
  const driver = computer as DriverName;
  const { entry, surePins } = setUpOf(driver);
  const board = entry(0, 'PWM') as Board;
  const { highV, sourceA, sumA } = factsOf(board).electrics(board);
  const direct = new Set<string>();
  let leftA = DIRECT_SHARE * sumA;
  let leftPins = Math.min(DIRECT_PINS, surePins?.length ?? DIRECT_PINS);
  for (const slot of slots) {
    if (slot.from !== 'lights' || slot.answer.wired !== 'pin') continue;
    const part = partOf(slot.answer);
    const leds = ledsOf(part);
    const amps = leds.reduce((sum, { currentA }) => sum + currentA, 0);
    const bears = leds.length > 0 && leds.every(({ currentA }) => currentA <= sourceA);
    const reaches = resistorsOf(part, highV).length === leds.length;
    if (!bears || !reaches || amps > leftA || leds.length > leftPins) continue;
    leftA -= amps;
    leftPins -= leds.length;
    direct.add(slot.id);
  }
  return direct;
}

/** How a light is really wired: directly on the pin only where the pin bears it. */
function wiringOf({ wired }: LightAnswer, direct: boolean): LightAnswer['wired'] {
  return wired === 'pin' && !direct ? 'n-mosfet' : wired;
}

function electricalOf(slot: PinSlot, direct: ReadonlySet<string>): Electrical {
  switch (slot.from) {
    case 'moves': {
      const aside = Math.ceil((BOUNDS.travelDeg[1] / 2) * US_PER_DEG);
      return {
        pulses: [MIDDLE_US - aside, MIDDLE_US + aside],
        activeLow: false,
        between: false,
        pins: 1,
      };
    }
    case 'lights':
      return {
        activeLow: false,
        between: !direct.has(slot.id),
        pins: isColoured(slot.answer) ? 3 : 1,
      };
    case 'relays':
      return { activeLow: slot.answer.closesOn === 'low', between: true, pins: 1 };
  }
}

/** What a channel draws, and from what voltage. */
function loadsOf(slot: PinSlot, direct: ReadonlySet<string>): RailLoad[] {
  const { id, answer } = slot;
  switch (slot.from) {
    case 'moves': {
      const { supplyV, typical } = PARTS[slot.answer.part]!;
      const volts = [supplyV![0]!, supplyV![1]!] as const;
      const draw = typical.draw as { idleA: number; movingA: number; stallA: number };
      return [
        {
          ...{ id, of: 'servo', volts, wantedV: standardV(volts), moves: true },
          ...{ idleA: draw.idleA, busyA: draw.movingA, stallA: draw.stallA },
        },
      ];
    }
    case 'lights': {
      if (direct.has(id)) return [];
      const { supplyV, typical } = PARTS[partOf(slot.answer)]!;
      const volts = supplyV ? ([supplyV[0]!, supplyV[1]!] as const) : LED_VOLTS;
      const amps = [(typical.draw as { fullA: number | number[] }).fullA].flat();
      const busyA = amps.reduce((sum, one) => sum + one, 0);
      const wantedV = supplyV ? standardV(volts) : LOGIC_V;
      return [
        { ...{ id, of: 'light', volts, wantedV, moves: false }, idleA: 0, busyA, stallA: busyA },
      ];
    }
    case 'relays': {
      const { part } = LOADS[slot.answer.load];
      const library = part === undefined ? undefined : PARTS[part]!;
      const given = slot.answer.volts;
      // Within a tenth of what the maker says, a supply is the same.
      const volts =
        given !== undefined
          ? ([given * 0.95, given * 1.05] as const)
          : ([library!.supplyV![0]!, library!.supplyV![1]!] as const);
      const busyA =
        slot.answer.amps ?? (library?.typical.draw as { onA: number } | undefined)?.onA ?? 0;
      return [
        {
          ...{ id, of: answer.name, volts, wantedV: given ?? standardV(volts), moves: false },
          ...{ idleA: 0, busyA, stallA: busyA },
        },
        {
          ...{ id: `${id}.coil`, of: 'relay', volts: [4.5, 5.5], wantedV: LOGIC_V, moves: false },
          ...{ idleA: 0, busyA: COIL_A, stallA: COIL_A },
        },
      ];
    }
  }
}

/** Voltages that supplies come in (V). Common practice, no source. */
const STANDARD_V = [5, 6, 7.4, 12, 24, 48];

/** The highest usual voltage within bounds, or their middle. */
function standardV([low, high]: readonly [number, number]): number {
  return STANDARD_V.findLast((one) => one >= low && one <= high) ?? tidy((low + high) / 2, 1);
}

function supplyReason({ supply, name }: Branch): string {
  const { id, volts, toBuy } = supply;
  return toBuy
    ? `${volts} V suit it, and no other supply does, or has room: rail ${name} of ${id}, which you still have to buy`
    : `its ${volts} V suit it, and it has room: rail ${name}`;
}

function pinReason(
  slot: PinSlot,
  { board, pull, pins }: Place,
  { header, boards }: Layout,
): string {
  const one = boards.get(board)!;
  if (board !== header) return `the next free output of board ${board}`;
  switch (slot.from) {
    case 'moves':
      return `${one.word(pins[0]!)} makes pulses, and nothing else is kept for it`;
    case 'lights':
      return `${pins.length > 1 ? 'these pins dim' : `${one.word(pins[0]!)} dims`} by PWM, and ${pull ? `a resistor keeps the light dark until the daemon runs` : 'their pull keeps the light dark until the daemon runs'}`;
    case 'relays':
      return pull
        ? `no pin was left whose own pull keeps it open: fit a resistor of 10 kohm from the pin to ${pull === 'up' ? '3.3 V' : 'ground'}`
        : `its pull (${slot.answer.closesOn === 'low' ? 'up' : 'down'} from power-on) keeps the relay open until the daemon runs`;
  }
}

/** Parking must have time for the slowest way home, with room to spare (s). */
function deadlineOf(channels: readonly DraftChannel[]): number {
  const slowest = channels.map(({ servo, slot }) => {
    if (!servo || slot.from !== 'moves') return 0;
    const typical = PARTS[slot.answer.part]!.typical as { speedDegS: number; accelDegS2: number };
    const { speedDegS = typical.speedDegS, accelDegS2 = typical.accelDegS2 } = servo;
    return (servo.limitsDeg[1] - servo.limitsDeg[0]) / speedDegS + speedDegS / accelDegS2;
  });
  return Math.max(USUAL_DEADLINE_S, Math.ceil(2 * Math.max(0, ...slowest)));
}
