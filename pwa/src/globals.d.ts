declare const __APP_BUILD__: string;
declare module "*.css";
