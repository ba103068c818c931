/** What page and service worker say to each other about sending without an open page. */

/** The browser calls the worker with this once there is network. */
export const SEND = "send";
/** The worker tells the pages that it has sent. */
export const SENT = "sent";
