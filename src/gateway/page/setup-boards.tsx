import { useSignal } from '@preact/signals';
import { hex } from '../../boards/on-i2c.ts';
import { Act } from './act.tsx';
import { forPeople } from './for-people.ts';
import { call } from './link.ts';
import { FIRST_CONTROL } from './main-button.tsx';
import { type Chip, chipText, formFor, type Scan } from './setup-found.ts';
import { fillIn } from './setup-parts-add.tsx';
import { busy, section } from './setup-parts-data.ts';
import { condition, holding } from './store.ts';

/** Boards that answer on the I2C buses of the prop's computer, each with a button that adds it. */
export function FoundBoards() {
  const scan = useSignal<Scan | undefined>(undefined);
  const scanning = useSignal(false);
  const problem = useSignal('');
  const atRest = ['parked', 'stopped', 'faulted'].includes(condition.value ?? '');
  const why = !holding.value
    ? FIRST_CONTROL
    : atRest
      ? ''
      : 'The prop uses the bus now: park it first.';
  const look = async () => {
    scanning.value = true;
    problem.value = '';
    try {
      scan.value = await call('board.scan', {});
    } catch (error) {
      problem.value = forPeople((error as Error).message);
    } finally {
      scanning.value = false;
    }
  };
  return (
    <section class="sheet found" aria-label="Boards on the I2C bus">
      <h2>Boards on the I2C bus</h2>
      <p class="hint">
        This reads only, and asks no board that the prop has. A chip that no driver knows may take a
        question for a command: unplug what does not belong to the prop.
      </p>
      <div class="row">
        <Act can={why === '' && !scanning.value && !busy.value} onAct={() => void look()}>
          Look for boards
        </Act>
      </div>
      <p role="status">{scanning.value ? 'It looks …' : problem.value || why}</p>
      {scan.value && <Buses scan={scan.value} />}
    </section>
  );
}

function Buses({ scan: { buses, chips } }: { scan: Scan }) {
  return buses.map(({ bus, simulated, trouble }) => {
    const there = chips.filter((one) => one.bus === bus && one.simulated === simulated);
    return (
      <div key={`${bus} ${simulated}`}>
        <h3>{simulated ? 'Simulated I2C bus: none of it is real' : `I2C bus ${bus}`}</h3>
        {trouble !== undefined && <p>This bus was not scanned, or not to its end: {trouble}.</p>}
        {trouble === undefined && there.length === 0 && <p>No board answers.</p>}
        <ul class="parts-list">
          {there.map((chip) => (
            <Found key={chip.address} chip={chip} />
          ))}
        </ul>
      </div>
    );
  });
}

function Found({ chip }: { chip: Chip }) {
  const boards = section('boards');
  const form = formFor(chip, boards);
  const at = hex(chip.address);
  return (
    <li class="row">
      <span>
        <strong>{at}</strong> {chipText(chip, boards)}
      </span>
      {form && (
        <Act can={!busy.value} onAct={() => fillIn('board', form)}>
          Add {at} …
        </Act>
      )}
    </li>
  );
}
