import { factsOf } from '../boards/registry.ts';
import { singleColours, WIRE_COLOURS, wireColourName } from '../sums/wire-colours.ts';
import { didYouMean, type Path, show } from './finding.ts';
import { kindOf } from './kinds/registry.ts';
import { lintContacts } from './lint-contacts.ts';
import { lintNets } from './lint-nets.ts';
import { type CoreEnd, coreKind, Loom, type PlacedWire } from './loom.ts';
import { grouped, splitEnd } from './loom-words.ts';
import type { Notes } from './notes.ts';

/** Reports what cannot be built as the loom is written. Says nothing about a file without wires. */
export function lintLoom(notes: Notes): void {
  const loom = new Loom(notes.prop);
  // Named terminals can be checked even without wires.
  lintContacts(notes, loom);
  if (!loom.hasWiring) return;
  lintLabels(notes, loom);
  lintColours(notes, loom);
  lintConnectors(notes);
  lintEnds(notes, loom);
  lintCavities(notes, loom);
  lintRoles(notes, loom);
  lintChannels(notes, loom);
  lintPins(notes, loom);
  lintNets(notes, loom);
}

function lintLabels(notes: Notes, loom: Loom): void {
  for (const [label, wires] of loom.byLabel) {
    for (const { path } of wires.slice(1)) {
      if (notes.given.broken([...path, 'label'])) continue;
      notes.warning(
        [...path, 'label'],
        `${label} is the label of ${owner(wires[0]!)}, too`,
        'give every wire its own label',
      );
    }
  }
}

function owner({ path, channel, own }: PlacedWire): string {
  return own ? `the wire of ${channel}` : `wires[${path[1]}]`;
}

const CODE_OF = new Map(Object.entries(WIRE_COLOURS).map(([code, name]) => [name, code]));

function lintColours(notes: Notes, loom: Loom): void {
  for (const { wire, index, colour } of cores(loom)) {
    const path = [...wire.path, 'cores', index, 'colour'];
    if (singleColours(colour) || notes.given.broken(path)) continue;
    const upper = colour.toUpperCase();
    const meant = singleColours(upper) ? upper : CODE_OF.get(colour.toLowerCase());
    notes.warning(
      path,
      `${show(colour)} is not a colour code of IEC 60757`,
      meant ? `write ${meant}` : `use ${Object.keys(WIRE_COLOURS).join(', ')}, or several, as GNYE`,
    );
  }
}

function* cores(loom: Loom) {
  for (const wire of loom.wires)
    for (const [index, core] of wire.cores.entries()) yield { wire, index, core, ...core };
}

// --- ends and cavities --------------------------------------------------------------------------

function lintConnectors(notes: Notes): void {
  const boards = new Map<string, string>();
  for (const [name, { board, cavities, bridged }] of Object.entries(notes.prop.connectors)) {
    const at = ['connectors', name];
    if (board !== undefined && notes.find('boards', board, [...at, 'board'])) {
      const other = boards.get(board);
      if (other !== undefined)
        notes.warning(
          [...at, 'board'],
          `the pins of ${board} are on ${other} already`,
          'name one connector for each board',
        );
      boards.set(board, name);
    }
    const seen = new Set<string>();
    for (const [i, bridge] of (bridged ?? []).entries()) {
      for (const [j, cavity] of bridge.entries()) {
        const path = [...at, 'bridged', i, j];
        if (cavities !== undefined && isBeyond(String(cavity), cavities))
          notes.warning(path, `${name} has no cavity ${cavity}`, `use 1 to ${cavities}`);
        if (seen.has(String(cavity)))
          notes.warning(path, `cavity ${cavity} is bridged already`, 'name it once');
        seen.add(String(cavity));
      }
    }
  }
}

function isBeyond(cavity: string, cavities: number): boolean {
  return /^\d+$/.test(cavity) && (Number(cavity) < 1 || Number(cavity) > cavities);
}

function lintEnds(notes: Notes, loom: Loom): void {
  for (const { wire, index, from, to } of cores(loom)) {
    if (from !== to) continue;
    notes.warning(
      [...wire.path, 'cores', index, 'to'],
      `this core of ${wire.label} starts and ends in ${from}, so it has only one end`,
      'give the end that it has on the other side',
    );
  }
  const { connectors } = notes.prop;
  const known = Object.keys(connectors);
  const unknown = new Set<string>();
  for (const { end, path } of ends(notes, loom)) {
    if (notes.given.broken(path)) continue;
    const { connector, cavity } = splitEnd(end);
    if (cavity === '') {
      notes.warning(path, `${end} names no cavity`, `give it, such as ${end}-1`);
      continue;
    }
    if (known.length === 0) continue;
    if (!Object.hasOwn(connectors, connector)) {
      if (unknown.has(connector) || notes.given.has(['connectors', connector])) continue;
      unknown.add(connector);
      notes.warning(
        path,
        `there is no connector ${connector}`,
        `add it to connectors, or ${didYouMean(connector, known)}`,
      );
      continue;
    }
    const { cavities } = connectors[connector]!;
    if (cavities !== undefined && isBeyond(cavity, cavities))
      notes.warning(path, `${connector} has no cavity ${cavity}`, `use 1 to ${cavities}`);
  }
}

/** Every end in the file: of cores, supplies and fuses. */
function* ends({ prop }: Notes, loom: Loom): Generator<{ end: string; path: Path }> {
  for (const [name, { supply, fuse }] of Object.entries(prop.rails)) {
    const at = ['rails', name];
    if (supply) {
      yield { end: supply.plus, path: [...at, 'supply', 'plus'] };
      yield { end: supply.return, path: [...at, 'supply', 'return'] };
    }
    if (fuse) {
      yield { end: fuse.from, path: [...at, 'fuse', 'from'] };
      yield { end: fuse.to, path: [...at, 'fuse', 'to'] };
    }
  }
  for (const { wire, index, from, to } of cores(loom)) {
    yield { end: from, path: [...wire.path, 'cores', index, 'from'] };
    if (to !== from) yield { end: to, path: [...wire.path, 'cores', index, 'to'] };
  }
}

/** Two wires in a screw terminal need a twin ferrule (common practice, no source). */
const MAX_IN_TERMINAL = 2;

/**
 * A cavity of a plug or header takes one wire; that of a terminal block (a connector with bridges) takes
 * two.
 */
function lintCavities(notes: Notes, loom: Loom): void {
  for (const [connector, cavities] of loom.connectors) {
    const declared = notes.prop.connectors;
    const bridged = Object.hasOwn(declared, connector) ? declared[connector]!.bridged : undefined;
    const terminals = new Set(bridged?.flat().map(String));
    for (const [cavity, given] of cavities) {
      const held = given.filter(
        ({ other, side }) => other !== `${connector}-${cavity}` || side === 'from',
      );
      if (held.length < 2 || cavity === '') continue;
      const last = held.at(-1)!;
      const labels = [...new Set(held.map(({ wire }) => wire.label))].join(', ');
      const wrong = `${connector}-${cavity} holds ${held.length} cores: ${labels}`;
      const path = placeOf(last);
      if (!terminals.has(cavity))
        notes.warning(
          path,
          wrong,
          Object.hasOwn(declared, connector)
            ? 'give each its own cavity; each half of a plug connection has its own name'
            : `give each its own cavity, or say in connectors which cavities of ${connector} are bridged`,
        );
      else if (held.length > MAX_IN_TERMINAL)
        notes.warning(path, wrong, 'use another cavity of the bar: a terminal takes two at most');
      else
        notes.note(path, wrong, 'crimp both in a twin ferrule, or use another cavity of the bar');
    }
  }
}

function placeOf({ wire, index, side }: CoreEnd): Path {
  return [...wire.path, 'cores', index, side];
}

/** One colour, one meaning: by exact role within the plug of a channel, elsewhere by what it carries. */
function lintRoles(notes: Notes, loom: Loom): void {
  for (const [connector, cavities] of loom.connectors) {
    const held = [...cavities.values()].flat();
    const channels = new Set(held.map(({ wire }) => wire.channel));
    const exact = channels.size === 1 && !loom.boards.has(connector);
    const meaning = ({ core }: CoreEnd) => (exact ? core.role.toLowerCase() : coreKind(core));
    for (const [colour, same] of grouped(held, ({ core }) => core.colour)) {
      const first = same[0]!;
      const other = same.find((one) => meaning(one) !== meaning(first));
      if (!other) continue;
      const name = wireColourName(colour);
      notes.warning(
        [...other.wire.path, 'cores', other.index, 'colour'],
        `${colour}${name ? ` (${name})` : ''} is ${first.core.role} and ${other.core.role} on ${connector}`,
        'use a colour for one role only on a connector',
      );
    }
  }
}

// --- channels -----------------------------------------------------------------------------------

function lintChannels(notes: Notes, loom: Loom): void {
  for (const [name, channel] of Object.entries(notes.prop.channels)) {
    const at = ['channels', name];
    const wires = loom.byChannel.get(name);
    if (!wires) {
      // What has no pin, such as a loudspeaker on a sound card, has no wire from a board.
      if (kindOf(channel).outputs(channel).length === 0) continue;
      if (notes.given.has([...at, 'wire'])) continue;
      notes.add({
        severity: 'warning',
        path: at,
        atKey: true,
        wrong: `${name} has no wire`,
        right: 'add its wire, so that it can be found when something fails',
      });
      continue;
    }
    if (wires.some(({ path }) => notes.given.broken(path))) continue;
    const there = new Set(wires.flatMap((wire) => wire.cores.map(coreKind)));
    const { cores, words } = kindOf(channel);
    const absent = cores(channel).filter((kind) => !there.has(kind));
    if (absent.length === 0) continue;
    const { path, label } = wires[0]!;
    notes.warning(
      [...path, 'cores'],
      `${label} of ${name} has no ${absent.join(' and no ')} core`,
      `add ${absent.length > 1 ? 'them' : 'it'}: ${words.cores}`,
    );
  }
}

/** Checks what ends at a board's pins: each wire at the pin of its channel, and no supply at a signal pin. */
function lintPins(notes: Notes, loom: Loom): void {
  for (const [connector] of loom.boards) {
    for (const end of [...(loom.connectors.get(connector)?.values() ?? [])].flat()) {
      const pin = loom.boardPin(`${end.connector}-${end.cavity}`);
      if (pin) lintPin(notes, loom, end, pin);
    }
  }
}

function lintPin(
  notes: Notes,
  loom: Loom,
  end: CoreEnd,
  { board, pin, power }: NonNullable<ReturnType<Loom['boardPin']>>,
): void {
  const { wire, core } = end;
  const at = `${end.connector}-${end.cavity}`;
  const path = placeOf(end);
  const kind = coreKind(core);
  const channel = wire.channel === undefined ? undefined : notes.prop.channels[wire.channel];
  const what = pin === undefined ? `${power}` : `${pinName(notes, board, pin)} of ${board}`;
  if (kind !== 'signal') {
    const wanted = kind === 'return' ? 'ground' : 'a supply pin';
    const right =
      kind === 'return' ? power === 'ground' : power !== undefined && power !== 'ground';
    if (!factsOf(notes.prop.boards[board]!).power) return;
    if (!right)
      notes.warning(path, `${at} is ${what}, and this core is a ${core.role}`, `use ${wanted}`);
    else if (kind === 'plus' && channel && kindOf(channel).moves)
      notes.warning(
        path,
        `${wire.channel} is fed from ${at}, the ${power} pin of ${board}`,
        'give servos their own supply',
      );
    return;
  }
  if (power !== undefined) {
    notes.warning(path, `${at} is ${what}, and this core is a signal`, 'use the pin of its output');
    return;
  }
  if (!channel || notes.given.broken(['channels', wire.channel!, 'output'])) return;
  const outputs = kindOf(channel).outputs(channel);
  const own = outputs.filter(({ colour }) => colour === core.role.toLowerCase());
  const wanted = (own.length > 0 ? own : outputs).map((one) => one.pin);
  if (channel.output.board === board && wanted.includes(pin!)) return;
  const target = loom.endOfPin(channel.output.board, wanted[0]!);
  const names = wanted.map((one) => pinName(notes, channel.output.board, one)).join(', ');
  notes.warning(
    path,
    `${at} is ${what}, but ${core.role} of ${wire.channel} is ${names} of ${channel.output.board}`,
    target === undefined
      ? 'correct the wire or the output'
      : `move this end to ${target}, or correct the output`,
  );
}

function pinName(notes: Notes, board: string, pin: number): string {
  const { boards } = notes.prop;
  return `${Object.hasOwn(boards, board) ? factsOf(boards[board]!).word : 'GPIO'} ${pin}`;
}
