import type { ComponentChildren } from 'preact';
import { bundlesOf } from '../prop/bundles.ts';
import type { LoomWire } from '../prop/loom.ts';
import { grouped, sorted, splitEnd } from '../prop/loom-words.ts';
import type { MeasuringPart } from '../prop/measuring-path.ts';
import type { ConnectorView } from './connector-picture.tsx';
import { ColourText } from './insulation.tsx';
import type { CavityEnd } from './pins.ts';
import {
  bundleText,
  CHANNEL_COLUMNS,
  CONNECTOR_COLUMNS,
  LABEL_COLUMNS,
  PART_COLUMNS,
  PIN_KINDS,
  PLACE_COLUMNS,
  purpose,
  sizeText,
} from './words.ts';

interface Listed {
  wires: readonly LoomWire[];
  /** Goes above the columns, on every page. */
  head?: ComponentChildren;
}

/** Every wire with its cores, in the order of the labels. */
export function ListByLabel({ wires, head }: Listed) {
  return (
    <List columns={LABEL_COLUMNS} head={head}>
      {sorted(wires, ({ label }) => label).map((wire) => (
        <tbody key={`${wire.label} ${purpose(wire)}`}>
          {wire.cores.map((core, i) => (
            <tr key={`${core.role} ${core.from} ${core.to}`}>
              {i === 0 && <WireCells wire={wire} />}
              <CoreCells core={core} />
            </tr>
          ))}
        </tbody>
      ))}
    </List>
  );
}

/** The cores of every channel and rail, in the order of their names. */
export function ListByChannel({ wires, head }: Listed) {
  const groups = sorted(grouped(wires, purpose), ([name]) => name);
  return (
    <List columns={CHANNEL_COLUMNS} head={head}>
      {groups.map(([name, some]) => (
        <Together key={name} wires={some} name={name || 'no channel'} />
      ))}
    </List>
  );
}

/** The cores that run to each place of the prop; those without a place come last. */
export function ListByPlace({ wires, head }: Listed) {
  const bundles = new Map(bundlesOf(wires).map((bundle) => [bundle.place, bundle]));
  const groups = sorted(
    grouped(wires, ({ place }) => place ?? ''),
    ([place]) => place,
  );
  const placed = groups.filter(([place]) => place !== '');
  const others = groups.filter(([place]) => place === '');
  return (
    <List columns={PLACE_COLUMNS} head={head}>
      {[...placed, ...others].map(([place, some]) => {
        const bundle = bundles.get(place);
        return (
          <Together
            key={place}
            wires={some}
            name={place || 'no place'}
            about={bundle && bundleText(bundle)}
          />
        );
      })}
    </List>
  );
}

/** Wires that belong together, in the order of their labels. */
function Together({
  wires,
  name,
  about,
}: {
  wires: readonly LoomWire[];
  name: string;
  about?: string | undefined;
}) {
  const cores = sorted(wires, ({ label }) => label).flatMap((wire) =>
    wire.cores.map((core) => ({ wire, core })),
  );
  return (
    <tbody>
      {cores.map(({ wire, core }, i) => (
        <tr key={`${wire.label} ${core.role} ${core.from} ${core.to}`}>
          {i === 0 && (
            <th scope="rowgroup" rowSpan={cores.length}>
              {name}
              {about && <p class="soft">{about}</p>}
            </th>
          )}
          <td>{wire.label}</td>
          <CoreCells core={core} />
        </tr>
      ))}
    </tbody>
  );
}

/** The contents of each cavity, connector by connector, seen from the front. */
export function ListByConnector(props: {
  connectors: readonly ConnectorView[];
  head?: ComponentChildren;
}) {
  return (
    <List columns={CONNECTOR_COLUMNS} head={props.head}>
      {props.connectors.map(({ name, about, cavities, bridged }) => (
        <tbody key={name}>
          <tr>
            <th scope="rowgroup" colSpan={CONNECTOR_COLUMNS.length + 1} class="connector">
              {name} {about && <span class="soft">{about}</span>}
              {bridged.length > 0 && (
                <p class="soft">
                  Joined inside: {bridged.map((bridge) => bridge.join(' ')).join('; ')}
                </p>
              )}
            </th>
          </tr>
          {cavities.map(({ cavity, ends }) => (
            <CavityRows key={cavity} cavity={cavity} ends={ends} />
          ))}
        </tbody>
      ))}
    </List>
  );
}

function CavityRows({ cavity, ends }: { cavity: string; ends: readonly CavityEnd[] }) {
  const first = (
    <th scope="row" rowSpan={Math.max(1, ends.length)}>
      {cavity}
    </th>
  );
  if (ends.length === 0)
    return (
      <tr>
        {first}
        <td colSpan={CONNECTOR_COLUMNS.length} class="soft">
          {PIN_KINDS.free}
        </td>
      </tr>
    );
  return (
    <>
      {ends.map(({ wire, core, other }, i) => (
        <tr key={`${wire.label} ${core.role} ${other}`}>
          {i === 0 && first}
          <td>{wire.label}</td>
          <td>{core.role}</td>
          <td>
            <ColourText code={core.colour} />
          </td>
          <td>{other}</td>
          <td>{purpose(wire)}</td>
          <Tick />
        </tr>
      ))}
    </>
  );
}

/** Shunts and the resistors of dividers, with the ends between which they are. */
export function ListOfParts({ parts }: { parts: readonly MeasuringPart[] }) {
  return (
    <List columns={PART_COLUMNS} head={undefined}>
      <tbody>
        {parts.map(({ sense, rail, channel, part, from, to }) => (
          <tr key={`${sense} ${from}`}>
            <th scope="row">{sense}</th>
            <td>{channel ?? rail}</td>
            <td>{part}</td>
            <td>{from}</td>
            <td>{to}</td>
            <Tick />
          </tr>
        ))}
      </tbody>
    </List>
  );
}

interface ListProps {
  columns: readonly string[];
  head: ComponentChildren;
  children: ComponentChildren;
}

/** A table with a tick box at the end of each row. */
function List({ columns, head, children }: ListProps) {
  return (
    <table class="list">
      <thead>
        {head !== undefined && (
          <tr>
            <th colSpan={columns.length + 1} class="head">
              {head}
            </th>
          </tr>
        )}
        <tr>
          {columns.map((column) => (
            <th key={column} scope="col">
              {column}
            </th>
          ))}
          <th scope="col" aria-label="Checked">
            <span class="box" />
          </th>
        </tr>
      </thead>
      {children}
    </table>
  );
}

function WireCells({ wire }: { wire: LoomWire }) {
  const rowSpan = wire.cores.length;
  return (
    <>
      <th scope="rowgroup" rowSpan={rowSpan}>
        {wire.label}
      </th>
      <td rowSpan={rowSpan}>{purpose(wire)}</td>
      <td rowSpan={rowSpan}>{sizeText(wire)}</td>
    </>
  );
}

function CoreCells({ core }: { core: LoomWire['cores'][number] }) {
  return (
    <>
      <td>{core.role}</td>
      <td>
        <ColourText code={core.colour} />
      </td>
      <td>{core.from}</td>
      <td>{core.to}</td>
      <Tick />
    </>
  );
}

function Tick() {
  return (
    <td class="tick">
      <span class="box" />
    </td>
  );
}

/** The connectors that wires go to, as far as the wires alone show. */
export function connectorsOfWires(wires: readonly LoomWire[]): ConnectorView[] {
  const ends = wires.flatMap((wire) =>
    wire.cores.flatMap((core) => [
      { wire, core, end: core.from, other: core.to, ...splitEnd(core.from) },
      { wire, core, end: core.to, other: core.from, ...splitEnd(core.to) },
    ]),
  );
  const connectors = grouped(
    sorted(ends, ({ end }) => end),
    ({ connector }) => connector,
  );
  return sorted(connectors, ([name]) => name).map(([name, some]) => ({
    name,
    about: '',
    cavities: [...grouped(some, ({ cavity }) => cavity)].map(([cavity, inIt]) => ({
      cavity,
      ends: inIt,
    })),
    bridged: [],
  }));
}
