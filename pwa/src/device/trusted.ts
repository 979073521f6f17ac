/**
 * Script addresses under a content security policy that asks for trusted types. Only
 * addresses that the build itself wrote pass through here.
 */
interface Policy {
  createScriptURL(url: string): unknown;
}

interface PolicyFactory {
  createPolicy(name: string, rules: { createScriptURL(url: string): string }): Policy;
}

let policy: Policy | undefined;

/** The address in the form that Worker and register accept. Throws for anything off this origin. */
export function trustedScript(url: string): string {
  const factory = (globalThis as { trustedTypes?: PolicyFactory }).trustedTypes;
  if (factory === undefined) return url;
  policy ??= factory.createPolicy('app', {
    createScriptURL(address) {
      if (new URL(address, location.href).origin !== location.origin) throw new TypeError(`${address}: not of this app`);
      return address;
    },
  });
  return policy.createScriptURL(url) as string;
}
