/** Go's own loader is plain JavaScript that is copied in when the trunk is built; it defines the global Go. */
export {};
