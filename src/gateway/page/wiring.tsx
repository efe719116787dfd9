import './wiring.css';
import { useSignalEffect } from '@preact/signals';
import { useId } from 'preact/hooks';
import { bundleText, PARTS_TITLE, partText, wireCount } from '../../drawings/words.ts';
import { bundlesOf } from '../../prop/bundles.ts';
import { linkState } from './link.ts';
import { PinMaps } from './pinmap.tsx';
import { SearchField } from './search-field.tsx';
import { version } from './store.ts';
import {
  answeredText,
  found,
  foundParts,
  loadWiring,
  loom,
  search,
  searchText,
} from './wiring-data.ts';
import { Drops } from './wiring-drops.tsx';
import { Fault } from './wiring-fault.tsx';
import { Paper, PrintChoice } from './wiring-print.tsx';
import { WhyNot, WireTable } from './wiring-wires.tsx';

/** Which wire goes where: to find one, to print them, to see what each pin is for. */
export function Wiring() {
  useSignalEffect(() => {
    if (linkState.value === 'open' && version.value) void loadWiring();
  });
  return (
    <div class="wiring">
      <p class="caution">
        Disconnect the power before you touch a wire. Mains wiring is only for licensed persons, by
        the local codes. Identify moves, switches or lights the real thing: keep clear of it.
      </p>
      <nav class="jumps" aria-label="On this page">
        <a href="#wiring/find">Find a wire</a>
        <a href="#wiring/fault">It does not work</a>
        <a href="#wiring/print">Print</a>
        <a href="#wiring/volts">Volts</a>
        <a href="#wiring/pins">Pins</a>
      </nav>
      <div class="wiring-sheets">
        <div class="wiring-column">
          <Find />
          <Fault />
          <Bundles />
          <PrintChoice />
          <Drops />
        </div>
        <div class="wiring-column" id="wiring/pins">
          <PinMaps />
        </div>
      </div>
      <Paper />
    </div>
  );
}

function Find() {
  const why = useId();
  return (
    <section class="sheet find" id="wiring/find">
      <h2>Find a wire</h2>
      <SearchField
        text={searchText}
        most={200}
        hint="A wire (W07), a GPIO (GPIO 17), a pin of the header (pin 11), what it is for (left wing), a channel or rail (beak), a role (plus), an end (J1-12) or a colour (YE, yellow). Several words narrow it down."
        onSearch={() => void search()}
      />
      <p role="status" class="count">
        <Count />
      </p>
      <WhyNot id={why} />
      {found.value.length > 0 && <WireTable wires={found.value} whyId={why} />}
      {foundParts.value.length > 0 && (
        <>
          <h3>{PARTS_TITLE}</h3>
          <ul class="bundles">
            {foundParts.value.map((part) => (
              <li key={`${part.sense} ${part.from}`}>{partText(part)}</li>
            ))}
          </ul>
        </>
      )}
    </section>
  );
}

/** What runs together, where channels say where they sit. */
function Bundles() {
  const bundles = bundlesOf(loom.value);
  if (bundles.length === 0) return null;
  return (
    <section class="sheet" id="wiring/bundles">
      <h2>Bundles by place</h2>
      <ul class="bundles">
        {bundles.map((bundle) => (
          <li key={bundle.place}>
            <b>{bundle.place}</b>: {bundle.wires.join(' ')}{' '}
            <span class="soft">{bundleText(bundle)}</span>
          </li>
        ))}
      </ul>
    </section>
  );
}

function Count() {
  const text = answeredText.value;
  if (loom.value.length === 0) return <>The prop file names no wires.</>;
  if (!text) return <>{wireCount(loom.value.length)} in all</>;
  if (found.value.length === 0) return <>No wire matches “{text}”.</>;
  return (
    <>
      {wireCount(found.value.length)} of {loom.value.length} for “{text}”
    </>
  );
}
