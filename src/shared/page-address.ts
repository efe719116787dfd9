/** The page's address. @param host without brackets, which an IPv6 address gets (RFC 3986, 3.2.2) */
export function pageAddress(host: string, port: number): string {
  return `http://${host.includes(':') ? `[${host}]` : host}:${port}/`;
}

/** Where the page asks what a new prop is made of. */
export const NEW_PROP_FRAGMENT = '#setup/new';
