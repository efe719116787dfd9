import { isIP } from 'node:net';

/** Whether a host is this machine: 127.0.0.0/8 (RFC 1122, section 3.2.1.3) or ::1 (RFC 4291, section 2.5.3). */
export function isLoopbackHost(host: string): boolean {
  if (isIP(host) === 4) return host.startsWith('127.');
  return host === '::1' || host.toLowerCase() === 'localhost';
}
