import { useSignal } from '@preact/signals';
import { reconnect } from './link.ts';
import { holding } from './store.ts';
import { device, me, NAME_LETTERS, nameDevice } from './who.ts';

/** What this device is called, as others see it; said once, and kept in this browser. */
export function Device() {
  const isOpen = useSignal(false);
  if (!isOpen.value)
    return (
      <p class="device">
        {device.value ? `This is ${me.value}.` : `Others see this device as ${me.value}.`}{' '}
        <button
          type="button"
          disabled={holding.value}
          onClick={() => {
            isOpen.value = true;
          }}
        >
          {device.value ? 'Change its name' : 'Name this device'}
        </button>
      </p>
    );
  return (
    <form
      class="device row"
      onSubmit={(event) => {
        event.preventDefault();
        isOpen.value = false;
        nameDevice(String(new FormData(event.currentTarget).get('name')));
        reconnect();
      }}
    >
      <label>
        Name of this device{' '}
        <input
          name="name"
          required
          maxLength={NAME_LETTERS}
          autocomplete="off"
          value={device.value}
          placeholder="workbench phone"
        />
      </label>
      <button type="submit" disabled={holding.value}>
        Save the name
      </button>
    </form>
  );
}
