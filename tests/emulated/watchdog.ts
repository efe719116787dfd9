/**
 * At the pace `quick` a machine's clock is this computer's, by which everything in it takes long: the
 * unit's watchdog would end a daemon that is well. Scripts that take it away, and bring it back.
 */
export const WITHOUT_WATCHDOG = `mkdir -p /etc/systemd/system/sinewd.service.d
printf '[Service]\\nWatchdogSec=0\\n' >/etc/systemd/system/sinewd.service.d/quick.conf`;
export const WITH_WATCHDOG = 'rm /etc/systemd/system/sinewd.service.d/quick.conf';
