/** Where the person is. Addresses are plain paths; the server answers all of them with the app. */

export type Route =
  | { name: 'today' }
  | { name: 'signIn' }
  | { name: 'vehicle'; id: string }
  | { name: 'check'; id: string }
  | { name: 'fleet' }
  | { name: 'fleetCheck'; id: string }
  | { name: 'device' }
  | { name: 'gallery' }
  | { name: 'lost' };

/** Reads an address. An unknown one is "lost", never an error. */
export function parseRoute(path: string): Route {
  const parts = path.split('/').filter((p) => p !== '');
  const [first, second, third] = parts;
  if (first === undefined) return { name: 'today' };
  if (parts.length === 1) {
    if (first === 'sign-in') return { name: 'signIn' };
    if (first === 'fleet' || first === 'device' || first === 'gallery') return { name: first };
  }
  if (parts.length === 2 && second !== undefined && (first === 'vehicle' || first === 'check')) return { name: first, id: second };
  if (parts.length === 3 && first === 'fleet' && second === 'check' && third !== undefined) return { name: 'fleetCheck', id: third };
  return { name: 'lost' };
}

const here = $state({ path: typeof location === 'undefined' ? '/' : location.pathname });

/** Live: the present address. */
export function path(): string {
  return here.path;
}

/** Goes to an address of this app. */
export function go(to: string, replace = false): void {
  if (to !== location.pathname) {
    if (replace) history.replaceState(null, '', to);
    else history.pushState(null, '', to);
    here.path = to;
    scrollTo(0, 0);
  }
}

/** Follows the back button, and clicks on links of this app. Returns the way to stop. */
export function followLinks(): () => void {
  const back = () => {
    here.path = location.pathname;
  };
  const click = (event: MouseEvent) => {
    if (event.defaultPrevented || event.button !== 0 || event.metaKey || event.ctrlKey || event.shiftKey || event.altKey) return;
    const link = event.target instanceof Element ? event.target.closest('a') : null;
    if (link === null || link.target !== '' || link.hasAttribute('download') || link.origin !== location.origin) return;
    if (link.hash !== '' && link.pathname === location.pathname) return;
    event.preventDefault();
    go(link.pathname);
  };
  addEventListener('popstate', back);
  document.addEventListener('click', click);
  return () => {
    removeEventListener('popstate', back);
    document.removeEventListener('click', click);
  };
}
